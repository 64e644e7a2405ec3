"""Values of several parts as a form's pickers show them, and the text of the file made of the parts.

A filter is shape, slope and corner; a rating is watts and ohms. Each part is what was typed: a bare number gets its unit.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.errors import QuantityError
from gainwright.model import FilterSetting, PowerRating
from gainwright.quantities import decimal, is_bare
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Sequence

OFF = "off"
RATINGS = 3
"""Ratings that a form has room for: into 4, 2 and 1 ohm."""
LOWEST_BARE_HZ = 20.0
"""A bare corner is in hertz from here on; below, it may be kilohertz."""
_WATTS = re.compile(r"(?P<number>[0-9.]+)\s*W(?:atts?)?", re.IGNORECASE)
_HERTZ = re.compile(r"(?P<number>[0-9]{2,}(?:\.[0-9]+)?)\s*Hz", re.IGNORECASE)
_OHMS = re.compile(r"(?P<number>[0-9.]+)\s*(?:ohms?|Ω)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class FilterParts:
    """A filter as three pickers show it; the shape may be `off`, all are empty where no filter is given."""

    shape: str = ""
    slope: str = ""
    corner: str = ""


def filter_parts(text: str) -> FilterParts | None:
    """Return the parts of a filter as in a file; None for a text that isn't one."""
    if not text.strip():
        return FilterParts()
    try:
        setting = FilterSetting.parse(text)
    except QuantityError:
        return None
    if setting.off:
        return FilterParts(OFF)
    return FilterParts(setting.shape, str(setting.slope_db_per_octave), _figure(_HERTZ, str(setting.corner)))


def filter_text(parts: FilterParts) -> str:
    """Return a filter as in a file; empty where none is given.

    Raises
    ------
    QuantityError : a part is missing.
    """
    shape, slope, corner = parts.shape.strip(), parts.slope.strip(), parts.corner.strip()
    if shape == OFF:
        return OFF
    named = ((say("shape"), shape), (say("slope"), slope), (say("corner"), corner))
    missing = [name for name, part in named if not part]
    if len(missing) == 3:
        return ""
    if missing:
        raise QuantityError(
            say("{parts} missing", parts=joined(missing)),
            code="no_quantity",
            rule=say("a filter has a shape, a slope and a corner"),
            remedy=say("choose them, or choose off"),
        )
    known = float(decimal(corner) or 0) >= LOWEST_BARE_HZ
    return f"{shape} {slope} at {with_unit(corner, 'Hz') if known else corner.replace(',', '.')}"


def with_unit(text: str, unit: str) -> str:
    """Return a typed figure with its unit; a decimal comma becomes a point, anything but a bare number stays."""
    return f"{decimal(text)} {unit}" if is_bare(text) else text.strip()


def rating_pairs(text: str) -> list[tuple[str, str]] | None:
    """Return watts and ohms of each rating, one a line; None for a text that isn't ratings."""
    try:
        ratings = [PowerRating.parse(line) for line in text.split("\n") if line.strip()]
    except QuantityError:
        return None
    return [(_figure(_WATTS, str(r.power)), _figure(_OHMS, str(r.load))) for r in ratings]


def _figure(unit: re.Pattern[str], text: str) -> str:
    match = unit.fullmatch(text.strip())
    return match["number"] if match else text


def ratings_text(pairs: Sequence[tuple[str, str]]) -> str:
    """Return ratings as in a file, one a line; pairs without any part are left out.

    Raises
    ------
    QuantityError : watts without ohms, or ohms without watts.
    """
    lines = []
    for watts, ohms in ((w.strip(), o.strip()) for w, o in pairs):
        if not watts and not ohms:
            continue
        if not watts or not ohms:
            into, what = (
                say("{watts} W: into how many ohms", watts=watts),
                say("{ohms} ohm: how many watts into it", ohms=ohms),
            )
            raise QuantityError(
                into if watts else what,
                code="no_quantity",
                rule=say("a rating is a power into a load"),
                remedy=say("write both, as the maker does: 300 W into 4 ohm"),
            )
        lines.append(f"{with_unit(watts, 'W')} @ {with_unit(ohms, 'ohm')}")
    return "\n".join(lines)
