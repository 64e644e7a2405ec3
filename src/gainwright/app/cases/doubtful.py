"""The question whether the decimal point of an answer was lost: far above the usual, it would be usual with its point elsewhere."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from gainwright.app.measuring.lost_point import is_within, places_lost, question_about, with_point_moved
from gainwright.errors import AnswerError, DoubtfulReadingError
from gainwright.quantities import Quantity, read_ohms, read_volts

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.diagnose import Diagnoser
    from gainwright.model import Job

_POINT = re.compile(r"[0-9][.,][0-9]|[.,][0-9]")


def doubt_about_answer(
    diagnoser: Diagnoser, job: Job, entry: Mapping[str, Any], text: str
) -> DoubtfulReadingError | None:
    """Return the question whether a point was lost; None for an answer that is to be taken as it is, or that isn't a number.

    Parameters
    ----------
    entry : of the test, without its result.
    text : the answer as it was typed.

    Raises
    ------
    JobError : the entry doesn't fit this job.
    """
    from gainwright.diagnose import usual_reading
    from gainwright.jobfile import read_entry

    value = _number(entry, text)
    if value is None:
        return None
    usual = usual_reading(diagnoser, read_entry(dict(entry), job, answered=False))
    # a fault may leave any reading: only a number that has no point, and is above the usual, is asked about
    pointless = usual is not None and value > usual[1] and not _POINT.search(text)
    places = places_lost(value, *usual) if usual is not None and pointless else None
    meant = None if places is None else with_point_moved(text.strip(), places)
    again = None if meant is None else _number(entry, meant)
    if usual is None or meant is None or again is None or not is_within(again, *usual):
        return None
    return question_about(text, meant)


def _number(entry: Mapping[str, Any], text: str) -> float | None:
    """Return the volts or ohms of an answer, in SI; None where it is another answer."""
    what = str(entry.get("check", "")).rpartition(".")[2]
    try:
        if "at" in entry or what == "supply_voltage":
            read: Quantity | str = read_volts(text, second="distortion").volts
        elif what == "resistance":
            read = read_ohms(text)
        else:
            return None
    except AnswerError:
        return None
    return read.nominal if isinstance(read, Quantity) else None
