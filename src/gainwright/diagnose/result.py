"""What a diagnosis is: causes, the next tests, what is contradictory, the repair; as data with its wording."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class CauseTold:
    """A cause with its probability and why.

    Attributes
    ----------
    probability, error : and its Monte Carlo standard error.
    why : sentences.
    speaks_for, speaks_against : numbers of the entries, 1 is the first.
    """

    cause: str
    where: str
    probability: float
    error: float
    why: str
    speaks_for: tuple[int, ...] = ()
    speaks_against: tuple[int, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Return the contract's object."""
        return {
            "cause": self.cause,
            "where": self.where,
            "probability": self.probability,
            "why": self.why,
            "error": self.error,
            "for": list(self.speaks_for),
            "against": list(self.speaks_against),
        }


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
    entry: dict[str, Any]
    cautions: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Return the contract's object."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__} | {"cautions": list(self.cautions)}


@dataclass(frozen=True, slots=True)
class EntryTold:
    """An entry of the evidence: what it says, what was to be expected, how doubtful it is (0 to 1)."""

    number: int
    said: str
    expected: str
    doubt: float

    def as_json(self) -> dict[str, Any]:
        """Return it as an object."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


@dataclass(frozen=True, slots=True)
class Repair:
    """What to do about the leading cause, and the reading that will prove it."""

    do: str
    prove: str
    entry: dict[str, Any] = field(default_factory=dict)
    v_rms_low: float | None = None
    v_rms_high: float | None = None

    def as_json(self) -> dict[str, Any]:
        """Return it as an object."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What is believed, why, and what to do.

    Attributes
    ----------
    causes : most likely first; their probabilities sum to 1.
    groups : causes that no test here parts, each with its common probability.
    pairs : two causes at once that explain what one doesn't.
    next : tests, best first.
    evidence : the entries as they were taken.
    surprise : probability that it is something that this model doesn't hold.
    contradiction : a sentence about readings that don't go together, empty when they do.
    done : whether one cause (or group) is believed enough, or no test is worth its time.
    repair : what to do then.
    """

    causes: tuple[CauseTold, ...]
    groups: tuple[tuple[float, tuple[int, ...]], ...]
    pairs: tuple[tuple[float, tuple[str, ...]], ...]
    next: tuple[NextTest, ...]
    evidence: tuple[EntryTold, ...]
    surprise: float
    contradiction: str
    done: bool
    repair: Repair | None

    def as_json(self) -> dict[str, Any]:
        """Return the contract's object."""
        return {
            "causes": [c.as_json() for c in self.causes],
            "next": [n.as_json() for n in self.next],
            "evidence_used": len(self.evidence),
            "surprise": self.surprise,
            "groups": [{"probability": p, "causes": list(members)} for p, members in self.groups],
            "pairs": [{"probability": p, "causes": list(names)} for p, names in self.pairs],
            "evidence": [e.as_json() for e in self.evidence],
            "contradiction": self.contradiction,
            "done": self.done,
            "repair": None if self.repair is None else self.repair.as_json(),
        }
