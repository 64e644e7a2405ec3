"""Readings that would be as expected if their decimal point stood elsewhere: they are asked about before they count."""

from __future__ import annotations

import math
import re
from decimal import Decimal
from typing import TYPE_CHECKING

from gainwright.errors import DoubtfulReadingError
from gainwright.quantities import NUMBER, decimal
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterable

MOST_PLACES = 3
"""How far a point is moved; three places are also a unit taken for another, mV for V."""
MOST_DB_PER_STEP = 3.0
"""The most that one step of a volume changes the level: of 0.8 to 2 dB it usually is (common practice, no published source)."""
SCATTER_DB = 1.0
"""What a hand's readings of a column scatter about even steps."""
_NUMBERS = re.compile(NUMBER)


def is_within(value: float, low: float, high: float) -> bool:
    """Return whether a reading lies in an interval, compared to three figures, as the interval is shown."""
    slack = figure_of(value) / 2
    return low - slack <= value <= high + slack


def figure_of(value: float) -> float:
    """Return the value of one unit in the third figure of a reading; 0 of zero and of over range."""
    return float(10 ** (math.floor(math.log10(abs(value))) - 2)) if value and math.isfinite(value) else 0.0


def places_lost(value: float, low: float, high: float) -> int | None:
    """Return by how many places the point of a reading must move for it to be inside an interval.

    None where it is inside, or can't be brought there, and where the interval is a decade wide or reaches zero: there nearly
    any reading would come inside by chance.
    """
    if not (0 < low <= high < 10 * low) or not 0 < value < math.inf or is_within(value, low, high):
        return None
    places = sorted((n for n in range(-MOST_PLACES, MOST_PLACES + 1) if n), key=abs)
    return next((n for n in places if is_within(value * 10.0**n, low, high)), None)


def with_point_moved(text: str, places: int, *, number: int = 0) -> str | None:
    """Return a typed text with the point of one of its numbers moved, all digits kept: `1390 V` by -2 is `13.90 V`.

    Parameters
    ----------
    number : which of its numbers, from 0.

    None when the text has no such number, or one with a power of ten.
    """
    found = list(_NUMBERS.finditer(text))
    if number >= len(found):
        return None
    plain = decimal(found[number][0])
    if plain is None or "e" in plain.lower():
        return None
    moved = Decimal(plain).scaleb(places)
    return f"{text[: found[number].start()]}{moved:f}{text[found[number].end() :]}"


def question_about(text: str, meant: str, *, expected: str = "") -> DoubtfulReadingError:
    """Return the question whether a reading was meant with its point elsewhere.

    Parameters
    ----------
    text, meant : as it was typed, and as it was probably meant.
    expected : what is expected there, in words; empty for a reading as in a sound chain.
    """
    asked = {"text": repr(text.strip()), "meant": meant}
    return DoubtfulReadingError(
        say("{text} was typed where {expected} is expected: is it {meant}?", expected=expected, **asked)
        if expected
        else say("{text} was typed: is it {meant}, as in a sound chain?", **asked),
        candidate=meant,
        rule=say("a decimal point may be missing, or the unit may be another"),
        remedy=say("enter {meant}, or say that you are sure", meant=meant),
    )


def meant_row(line: str, rows: Iterable[tuple[float, float | None]], step: float, volts: float) -> str | None:
    """Return a typed row with the point of its volts where it was probably meant; None where it stands right."""
    interval = interval_of_row(rows, step)
    places = None if interval is None else places_lost(volts, *interval)
    return None if places is None else with_point_moved(line.strip(), places, number=1)


def interval_of_row(rows: Iterable[tuple[float, float | None]], step: float) -> tuple[float, float] | None:
    """Return the volts between which a step's reading must lie, from the nearest step read; None without one.

    The level never falls as the volume rises, and rises by `MOST_DB_PER_STEP` a step at most.
    """
    others = [(abs(at - step), at, volts) for at, volts in rows if volts and at != step]
    if not others:
        return None
    distance, at, volts = min(others)
    span, scatter = 10 ** (MOST_DB_PER_STEP * distance / 20), 10 ** (SCATTER_DB / 20)
    return (volts / scatter, volts * span * scatter) if step > at else (volts / span / scatter, volts * scatter)
