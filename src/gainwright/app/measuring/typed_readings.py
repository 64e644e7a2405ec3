"""Answers typed at a step of the set-up run: volts, ohms, a lead, a volume step, a row of a column, lit marks."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from gainwright.quantities import (
    Quantity,
    read_lead,
    read_measured,
    read_ohms,
    read_row,
    read_several,
    read_step,
    read_volts,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

AnswerKind = Literal["volts", "supply", "ohm", "lead", "place", "column", "look"]
"""What is asked: volts of a tone, of the supply, ohms, a lead's ohms, a step of the volume, steps with volts, a look."""


@dataclass(frozen=True, slots=True)
class StepAnswer:
    """What was typed.

    Attributes
    ----------
    value : volts, ohms, or a step; infinite for over range and open.
    at : final setting of the control, as typed; empty when not given.
    between : of a lead, ohms between its conductors, None when not given.
    volts : the reading at a step of a column, infinite over range; None otherwise.
    lit : the marks of an indicator that are lit, none of them for an empty one; None of any other answer.
    """

    value: float
    at: str = ""
    between: float | None = None
    volts: float | None = None
    lit: tuple[str, ...] | None = None


def read_answer(text: str, kind: AnswerKind, marks: Sequence[str] = ()) -> StepAnswer:
    """Return what was typed as an answer of a kind; `marks` are those of the indicator that is looked at.

    Raises
    ------
    AnswerError : it can't be read as one; the remedy has an example.
    """
    if kind == "look":
        return StepAnswer(math.nan, lit=read_several(text, marks, none=("none", "nothing")))
    return _READERS[kind](text)


def _volts(text: str) -> StepAnswer:
    reading = read_volts(text, second="place")
    return StepAnswer(_si(reading.volts), at="" if reading.place is None else str(reading.place))


def _supply(text: str) -> StepAnswer:
    return StepAnswer(_si(read_measured(text, "voltage", unit="V", example="13.8")))


def _lead(text: str) -> StepAnswer:
    reading = read_lead(text)
    end_to_end = 0.0 if reading.end_to_end is None else _si(reading.end_to_end)
    return StepAnswer(end_to_end, between=None if reading.between is None else _si(reading.between))


def _row(text: str) -> StepAnswer:
    row = read_row(text, step_alone=True)
    return StepAnswer(row.step, volts=None if row.volts is None else _si(row.volts))


def _si(reading: Quantity | str) -> float:
    """Return a reading in SI, infinite for over range and open."""
    return reading.nominal if isinstance(reading, Quantity) else math.inf


_READERS: dict[AnswerKind, Callable[[str], StepAnswer]] = {
    "volts": _volts,
    "supply": _supply,
    "ohm": lambda text: StepAnswer(_si(read_ohms(text))),
    "lead": _lead,
    "place": lambda text: StepAnswer(read_step(text)),
    "column": _row,
}
