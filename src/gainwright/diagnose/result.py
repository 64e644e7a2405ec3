"""A diagnosis as data with its sentences: causes, next tests, contradictions, the repair."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated

from pydantic import Field

from gainwright.model import EntryMapping


@dataclass(frozen=True, slots=True)
class RankedCause:
    """A cause with its probability and reasons.

    Attributes
    ----------
    name, where_text : the cause and its place in words.
    probability, error : probability and its Monte Carlo standard error.
    why : sentences.
    speaks_for, against : numbers of entries, 1 is the first; `speaks_for` is `for` in JSON.
    """

    cause: str
    where: str
    probability: float
    error: float
    why: str
    name: str = ""
    where_text: str = ""
    speaks_for: Annotated[tuple[int, ...], Field(serialization_alias="for")] = ()
    against: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class TestOutcome:
    """One outcome of a test, and what it would mean."""

    __test__ = False  # no class of tests
    found: str
    meaning: str


@dataclass(frozen=True, slots=True)
class NextTest:
    """A test to make, and the meaning of its outcomes.

    Attributes
    ----------
    ask, expect : the test, and its outcomes with their meanings, as sentences.
    entry : the entry of the evidence, which lacks only its result.
    where_text : the place in words.
    outcomes : what `expect` says, one by one.
    healthy : the outcome when nothing is wrong; empty where that isn't known.
    """

    test: str
    where: str
    minutes: float
    bits: float
    saved_minutes: float
    ask: str
    expect: str
    entry: EntryMapping
    cautions: tuple[str, ...] = ()
    where_text: str = ""
    outcomes: tuple[TestOutcome, ...] = ()
    healthy: str = ""


@dataclass(frozen=True, slots=True)
class EvidenceItem:
    """An entry of the evidence: its text, the expected result, and the probability that it is wrong (0 to 1)."""

    number: int
    said: str
    expected: str
    doubt: float


@dataclass(frozen=True, slots=True)
class Repair:
    """The repair of the leading cause, its cautions, and the reading that proves it.

    `after` is the check that says what became of it, to be completed by `is`: `plays`, `still_wrong` or, of one of two faults, `partly`.
    """

    do: str
    prove: str
    entry: EntryMapping = field(default_factory=dict)
    v_rms_low: float | None = None
    v_rms_high: float | None = None
    cautions: tuple[str, ...] = ()
    after: EntryMapping = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CauseGroup:
    """Causes that no test here distinguishes, by their index among all causes, and their joint probability."""

    probability: float
    causes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class CausePair:
    """Two simultaneous causes, as ids and in words, and their probability."""

    probability: float
    causes: tuple[str, ...]
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """The probable causes, the reasons, and what to do.

    Attributes
    ----------
    causes : most probable first; their probabilities sum to 1.
    groups : causes that no test here distinguishes.
    pairs : two simultaneous causes that explain what one alone doesn't.
    next : tests, best first.
    evidence_used : number of entries.
    evidence : the entries, as read.
    surprise : probability of a fault outside this model.
    contradiction : a sentence about inconsistent readings, empty if there are none.
    done : whether a cause (or group) is probable enough, no complaint is left, or no test is worth its time.
    repair : the repair of the leading cause, once done.
    declared : whether the leading cause is probable enough, its own check has confirmed it, and it explains every entry.
    unexplained : numbers of the entries that the leading cause doesn't explain.
    conflicting : numbers of two entries that can't both be true, of which one is to be looked at again.
    no_complaint : whether every speaker was heard and all that was told is as in a chain without a fault.
    conclusion : how far it has come, a sentence; empty while causes are still being told apart.
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
    declared: bool = False
    unexplained: tuple[int, ...] = ()
    conflicting: tuple[int, ...] = ()
    no_complaint: bool = False
    conclusion: str = ""
