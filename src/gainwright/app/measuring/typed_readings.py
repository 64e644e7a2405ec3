"""Answers typed at a step of the set-up run: volts, ohms, a lead, a volume step, a row of a column, lit marks."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from gainwright.app.measuring.lost_point import is_within, places_lost, question_about, with_point_moved
from gainwright.errors import AnswerError, DoubtfulReadingError
from gainwright.quantities import (
    Quantity,
    normalise_text,
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

LOWER = "lower"
"""Before a row of a column: it was read with the tone lower."""


@dataclass(frozen=True, slots=True)
class StepAnswer:
    """What was typed.

    Attributes
    ----------
    value : volts, ohms, or a step; infinite for over range and open; negative only of the supply.
    at : final setting of the control, as typed; empty when not given.
    between : of a lead, ohms between its conductors, None when not given.
    volts : the reading at a step of a column, infinite over range; None otherwise.
    lit : the marks of an indicator that are lit, none of them for an empty one; None of any other answer.
    lower : whether a row was read with the tone lower, as `lower 34 0.41` says.
    """

    value: float
    at: str = ""
    between: float | None = None
    volts: float | None = None
    lit: tuple[str, ...] | None = None
    lower: bool = False


def read_answer(text: str, kind: AnswerKind, marks: Sequence[str] = ()) -> StepAnswer:
    """Return what was typed as an answer of a kind; `marks` are those of the indicator that is looked at.

    Raises
    ------
    AnswerError : it can't be read as one; the remedy has an example.
    """
    if kind == "look":
        return StepAnswer(math.nan, lit=read_several(text, marks, none=("none", "nothing")))
    try:
        return _READERS[kind](text)
    except AnswerError as error:
        if kind not in _WHY_NO_SIGN or not _MINUS.search(normalise_text(text)):
            raise
        rule, remedy = _WHY_NO_SIGN[kind]
        raise AnswerError(error.what, code=error.code, rule=rule, remedy=remedy) from None


def doubt_about(
    text: str, kind: AnswerKind, read: StepAnswer, interval: tuple[float, float], *, expected: str
) -> DoubtfulReadingError | None:
    """Return the question whether a decimal point was lost; None for a reading that is to be taken as it is.

    Parameters
    ----------
    text, read : as it was typed, and what was read from it.
    interval : in which the reading is expected, SI.
    expected : the same in words.
    """
    value = read.value if read.volts is None else read.volts
    places = places_lost(value, *interval)
    if places is None:
        return None
    meant = with_point_moved(text.strip(), places, number=0 if read.volts is None else 1)
    if meant is None:
        return None
    try:
        again = read_answer(meant, kind)
    except AnswerError:
        return None
    if not is_within(again.value if read.volts is None else again.volts or 0.0, *interval):
        return None
    return question_about(text, meant, expected=expected)


def _volts(text: str) -> StepAnswer:
    reading = read_volts(text, second="place")
    return StepAnswer(_si(reading.volts), at="" if reading.place is None else str(reading.place))


def _supply(text: str) -> StepAnswer:
    """Read DC volts: a minus says that the meter's leads or the supply are the wrong way round."""
    plain = normalise_text(text)
    sign = -1.0 if plain.startswith("-") else 1.0
    return StepAnswer(sign * _si(read_measured(plain.removeprefix("-"), "voltage", unit="V", example="13.8")))


def _lead(text: str) -> StepAnswer:
    reading = read_lead(text)
    end_to_end = 0.0 if reading.end_to_end is None else _si(reading.end_to_end)
    return StepAnswer(end_to_end, between=None if reading.between is None else _si(reading.between))


def _row(text: str) -> StepAnswer:
    first, _, rest = text.strip().partition(" ")
    lower = first.lower() == LOWER
    row = read_row(rest if lower else text, step_alone=not lower)
    return StepAnswer(row.step, volts=None if row.volts is None else _si(row.volts), lower=lower)


def _si(reading: Quantity | str) -> float:
    """Return a reading in SI, infinite for over range and open."""
    return reading.nominal if isinstance(reading, Quantity) else math.inf


_MINUS = re.compile(r"(?:^|[\s;:=,])-\s*[0-9.,]")
_TONE_HAS_NO_SIGN = (
    "the volts of a tone have no sign; a minus means that the meter is on DC",
    "set the meter to AC volts and read again",
)
_OHMS_HAVE_NO_SIGN = (
    "ohms have no sign; a minus means that there is a voltage at the meter",
    "switch everything off, disconnect both ends and read again",
)
_WHY_NO_SIGN: dict[AnswerKind, tuple[str, str]] = {
    "volts": _TONE_HAS_NO_SIGN,
    "column": _TONE_HAS_NO_SIGN,
    "ohm": _OHMS_HAVE_NO_SIGN,
    "lead": _OHMS_HAVE_NO_SIGN,
}
"""Kind of reading -> why it has no sign, and what to do."""
_READERS: dict[AnswerKind, Callable[[str], StepAnswer]] = {
    "volts": _volts,
    "supply": _supply,
    "ohm": lambda text: StepAnswer(_si(read_ohms(text))),
    "lead": _lead,
    "place": lambda text: StepAnswer(read_step(text)),
    "column": _row,
}
