"""A case: one customer's fault from the first call to the repair."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, model_validator

from gainwright.model.fields import Frozen
from gainwright.texts import say


class BelievedCause(Frozen):
    """A cause with its probability at some moment."""

    cause: str
    where: str = ""
    probability: float = Field(ge=0, le=1)


class DialogueStep(Frozen):
    """One step of the dialogue: what was asked, the result, how long it takes, the likeliest cause after it.

    Attributes
    ----------
    answer : answered, declined (not known) or unreachable.
    """

    test: str = ""
    ask: str = ""
    answer: Literal["answered", "declined", "unreachable"] = "answered"
    minutes: float = Field(default=0.0, ge=0)
    believed: BelievedCause | None = None


Outcome = Literal["found", "something_else", "two_faults", "no_fault", "unsolved"]
NO_FAULT = ("nothing_wrong", "wrong_tone_for_path", "indicator_below_threshold")
"""Causes of a call under which the chain itself has no fault."""


class Closure(Frozen):
    """How a case ended.

    Attributes
    ----------
    cause, where : the fault and its place; empty when it is unsolved, or something else than the causes of the model.
    outcome : of a case closed before there were outcomes, `found` or `no_fault`, as its cause says.
    second_cause, second_where : the other of two faults.
    named : something else, in the words of the person who closed the case.
    complaint, chain : what was heard and the kind of chain (`chain_kind`), by which the case is counted; empty when
        nobody noted them.
    tests, minutes : what it took, of a case that has no dialogue.
    """

    cause: str = Field(default="", max_length=80)
    where: str = Field(default="", max_length=200)
    note: str = Field(default="", max_length=2000)
    on: str = Field(default="", max_length=40)
    outcome: Outcome = "found"
    second_cause: str = Field(default="", max_length=80)
    second_where: str = Field(default="", max_length=200)
    named: str = Field(default="", max_length=200)
    complaint: str = Field(default="", max_length=80)
    chain: str = Field(default="", max_length=120)
    tests: int | None = Field(default=None, ge=0)
    minutes: float | None = Field(default=None, ge=0)

    @model_validator(mode="before")
    @classmethod
    def _outcome_of_cause(cls, given: Any) -> Any:
        """Let a healthy chain be the outcome `no_fault`, whose cause needn't be written."""
        if not isinstance(given, dict):
            return given
        if given.get("cause") in NO_FAULT and given.get("outcome", "found") == "found":
            return {**given, "outcome": "no_fault"}
        if given.get("outcome") == "no_fault" and not given.get("cause"):
            return {**given, "cause": NO_FAULT[0]}
        return given

    @model_validator(mode="after")
    def _complete(self) -> Closure:
        """Refuse an outcome without what belongs to it, or with more."""
        expected = {
            "found": (True, False, False),
            "something_else": (False, False, True),
            "two_faults": (True, True, False),
            "no_fault": (True, False, False),
            "unsolved": (False, False, False),
        }[self.outcome]
        if (bool(self.cause), bool(self.second_cause), bool(self.named.strip())) != expected:
            needs = [n for n, needed in zip(("cause", "second_cause", "named"), expected, strict=True) if needed]
            if not needs:
                raise ValueError(say("{outcome} is closed with no cause, and nothing more", outcome=self.outcome))
            raise ValueError(
                say(
                    "{outcome} is closed with {listed}, and nothing more", outcome=self.outcome, listed=", ".join(needs)
                )
            )
        if self.outcome == "no_fault" and self.cause not in NO_FAULT:
            raise ValueError(say("no_fault is closed with one of {listed}", listed=", ".join(NO_FAULT)))
        if self.second_cause and (self.cause, self.where) == (self.second_cause, self.second_where):
            raise ValueError(say("two_faults is closed with two different faults"))
        return self

    @property
    def faults(self) -> tuple[tuple[str, str], ...]:
        """Cause and place of each fault of the model that was found; `nothing_wrong` for a healthy chain."""
        both = ((self.cause, self.where), (self.second_cause, self.second_where))
        return tuple(fault for fault in both if fault[0])


class Case(Frozen):
    """A case as in its file; `job` is the text of the job file (empty for a case of a shop's history), `evidence` its entries."""

    format: Literal[1] = 1
    title: str = Field(default="", max_length=300)
    opened: str = Field(default="", max_length=40)
    job: str
    evidence: tuple[dict[str, Any], ...] = ()
    declined: tuple[dict[str, Any], ...] = ()
    unreachable: tuple[str, ...] = ()
    dialogue: tuple[DialogueStep, ...] = ()
    closed: Closure | None = None
