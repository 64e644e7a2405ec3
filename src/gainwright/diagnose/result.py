"""What a diagnosis is: causes, the next tests, what is contradictory, the repair; as data with its wording."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated

from pydantic import Field

from gainwright.model import EntryMapping


@dataclass(frozen=True, slots=True)
class RankedCause:
    """A cause with its probability and why.

    Attributes
    ----------
    probability, error : and its Monte Carlo standard error.
    why : sentences.
    speaks_for, against : numbers of the entries, 1 is the first; the first are `for` in JSON.
    """

    cause: str
    where: str
    probability: float
    error: float
    why: str
    speaks_for: Annotated[tuple[int, ...], Field(serialization_alias="for")] = ()
    against: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class NextTest:
    """A test to make, with what its outcomes would mean; `entry` is ready to be answered."""

    test: str
    where: str
    minutes: float
    bits: float
    saved_minutes: float
    ask: str
    expect: str
    entry: EntryMapping
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class EvidenceItem:
    """An entry of the evidence: what it says, what was to be expected, how doubtful it is (0 to 1)."""

    number: int
    said: str
    expected: str
    doubt: float


@dataclass(frozen=True, slots=True)
class Repair:
    """What to do about the leading cause, and the reading that will prove it."""

    do: str
    prove: str
    entry: EntryMapping = field(default_factory=dict)
    v_rms_low: float | None = None
    v_rms_high: float | None = None


@dataclass(frozen=True, slots=True)
class CauseGroup:
    """Causes that no test here parts, by their index among all causes, and their common probability."""

    probability: float
    causes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class CausePair:
    """Two causes at once, in words, and their probability."""

    probability: float
    causes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What is believed, why, and what to do.

    Attributes
    ----------
    causes : most likely first; their probabilities sum to 1.
    groups : causes that no test here parts.
    pairs : two causes at once that explain what one doesn't.
    next : tests, best first.
    evidence_used : how many entries there are.
    evidence : the entries as they were taken.
    surprise : probability that it is something that this model doesn't hold.
    contradiction : a sentence about readings that don't go together, empty when they do.
    done : whether one cause (or group) is believed enough, or no test is worth its time.
    repair : what to do then.
    """

    causes: tuple[RankedCause, ...]
    groups: tuple[CauseGroup, ...]
    pairs: tuple[CausePair, ...]
    next: tuple[NextTest, ...]
    evidence_used: int
    evidence: tuple[EvidenceItem, ...]
    surprise: float
    contradiction: str
    done: bool
    repair: Repair | None
