"""A case: one customer's fault from the first call to the repair."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from gainwright.model.fields import Frozen


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


class Closure(Frozen):
    """The cause that was found in the end."""

    cause: str
    where: str = ""
    note: str = Field(default="", max_length=2000)
    on: str = Field(default="", max_length=40)


class Case(Frozen):
    """A case as in its file; `job` is the text of the job file, `evidence` its entries."""

    format: Literal[1] = 1
    title: str = Field(default="", max_length=300)
    opened: str = Field(default="", max_length=40)
    job: str
    evidence: tuple[dict[str, Any], ...] = ()
    declined: tuple[dict[str, Any], ...] = ()
    unreachable: tuple[str, ...] = ()
    dialogue: tuple[DialogueStep, ...] = ()
    closed: Closure | None = None
