"""Read one quantity from text: `4 V`, `4 V ± 10 %`, `2 .. 5 V`, `unknown`."""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass, replace

from gainwright.errors import QuantityError
from gainwright.quantities.dimensions import DIMENSIONS, NAMES, Dimension, to_si
from gainwright.quantities.spellings import gauge_area_m2, with_dots, with_points
from gainwright.quantities.spreads import Exact, Normal, Spread, Uniform, Unknown
from gainwright.texts import joined, say

_NUMBER = r"[+\-−]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+\-]?[0-9]+)?"
_TERM = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[^0-9\s±+\-−.,][^±]*?)?\s*")
_LONGEST_TEXT = 200
_LEAST_SHARE = 0.01
"""Share of the middle at which the draws of what can't be zero end."""
_LEAST_DB = 1e-6
"""Least spread of a level or ratio, dB."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A physical number as it was written, and what it means in SI.

    Attributes
    ----------
    text : as written; `str()` returns it.
    dimension : key of `DIMENSIONS`.
    spread : distribution in the dimension's SI unit.
    """

    text: str
    dimension: str
    spread: Spread

    def __str__(self) -> str:
        return self.text

    @property
    def known(self) -> bool:
        """Whether it has a value (is not `unknown`)."""
        return not isinstance(self.spread, Unknown)

    def above_zero(self) -> Quantity | None:
        """Return it with draws that stay above zero, at a hundredth of its middle or more; None when it reaches zero."""
        if isinstance(self.spread, Normal) and self.spread.mean > self.spread.half_width:
            low = max(self.spread.low, _LEAST_SHARE * self.spread.mean)
            return replace(self, spread=replace(self.spread, low=low))
        lowest = self.spread.low if isinstance(self.spread, Uniform) else self.interval[0]
        return self if not self.known or lowest > 0 else None

    @property
    def nominal(self) -> float:
        """The middle of the spread in SI; NaN when unknown."""
        return math.nan if isinstance(self.spread, Unknown) else self.spread.nominal

    @property
    def interval(self) -> tuple[float, float]:
        """The central 95 % interval in SI; NaN when unknown."""
        return (math.nan, math.nan) if isinstance(self.spread, Unknown) else self.spread.interval


def parse(text: str | float, dimension: str) -> Quantity:
    """Read a quantity of a dimension from text (or from a bare number where the dimension has no unit).

    Raises
    ------
    QuantityError : not a number, wrong unit, out of bounds, not finite, empty range; says what would be valid.
    """
    return _parse(str(text).strip(), dimension)


@functools.lru_cache(maxsize=4096)
def _parse(text: str, dimension: str) -> Quantity:
    kind = DIMENSIONS[dimension]
    if len(text) > _LONGEST_TEXT:
        raise _malformed(text[:40] + "...", kind)
    if text.lower() == "unknown":
        return Quantity(text, dimension, Unknown())
    plain = with_dots(with_points(text))
    if ".." in plain:
        return Quantity(text, dimension, _parse_range(plain, kind))
    centre, plus_minus, tolerance = _split_tolerance(plain)
    gauge = gauge_area_m2(centre) if dimension == "area" else None
    if gauge is not None and not plus_minus:
        return Quantity(text, dimension, Exact(gauge))
    value = _parse_term(centre, kind)
    _check_bounds(value, text, kind)
    if not plus_minus:
        return Quantity(text, dimension, Exact(value))
    half_width = _parse_tolerance(tolerance, centre, value, kind, text)
    found = Quantity(text, dimension, Normal(value, half_width, kind.low))
    if not kind.open_low:
        return found
    kept = found.above_zero()
    if kept is None:
        raise reaches_zero(found)
    return kept


def reaches_zero(found: Quantity) -> QuantityError:
    """Return the error for a quantity that can't be zero and whose spread reaches it."""
    kind = DIMENSIONS[found.dimension]
    return QuantityError(
        say("{text} reaches down to zero", text=repr(found.text)),
        code="out_of_bounds",
        rule=say("a {name} must be above zero here", name=NAMES[kind.name]),
        remedy=say("write a smaller spread, for example {example} ± 50 %", example=kind.example)
        if not kind.logarithmic
        else say("write, for example, {example}", example=kind.example),
    )


def quantity(value: float, dimension: str) -> Quantity:
    """Return an exact quantity for an SI value, its text in the dimension's own unit."""
    kind = DIMENSIONS[dimension]
    unit = "" if kind.unit == "1" else f" {kind.unit}"
    text = f"{value * 100:.6g} %" if dimension == "fraction" else f"{value:.6g}{unit}"
    _check_bounds(value, text, replace(kind, smallest=0.0))
    return Quantity(text, dimension, Exact(value))


def _malformed(text: str, kind: Dimension) -> QuantityError:
    return QuantityError(
        say("{text} is not a valid {name}", text=repr(text), name=NAMES[kind.name]),
        code="no_quantity",
        rule=say("write a number with its unit, and its spread if it has one"),
        remedy=say("write, for example, {example} or {example} ± 10 %", example=kind.example)
        if not kind.logarithmic
        else say("write, for example, {example} or {example} ± 1 dB", example=kind.example),
    )


def _split_tolerance(text: str) -> tuple[str, bool, str]:
    for mark in ("±", "+-", "+/-"):
        if mark in text:
            centre, _, tolerance = text.partition(mark)
            return centre.strip(), True, tolerance.strip()
    return text, False, ""


def _number(text: str, kind: Dimension) -> float:
    value = float(text.replace("−", "-"))
    if not math.isfinite(value):
        raise _malformed(text, kind)
    return value


def _term(text: str, kind: Dimension) -> tuple[float, str]:
    match = _TERM.fullmatch(text)
    if not match:
        raise _malformed(text, kind)
    return _number(match["number"], kind), " ".join((match["unit"] or "").split())


def _parse_term(text: str, kind: Dimension) -> float:
    number, unit = _term(text, kind)
    return to_si(number, unit, kind)


def _parse_tolerance(text: str, centre: str, value: float, kind: Dimension, whole: str) -> float:
    number, unit = _term(text, kind)
    own_unit = _term(centre, kind)[1]
    if unit == "%" and own_unit != "%":
        if kind.logarithmic:
            raise QuantityError(
                say("{whole} gives a level a spread in per cent", whole=repr(whole)),
                code="wrong_unit",
                rule=say("a spread of decibels must be in dB"),
                remedy=say("write, for example, {centre} ± 1 dB", centre=centre),
            )
        half_width = abs(value) * number / 100
    elif own_unit in ("dBu", "dBV"):
        raise QuantityError(
            say("{whole} gives a voltage in decibels a spread", whole=repr(whole)),
            code="wrong_unit",
            rule=say("a spread is only allowed on a voltage in volts"),
            remedy=say("write the voltage in V, for example 1.23 V ± 5 %"),
        )
    elif kind.logarithmic:
        half_width = to_si(number, "dB", DIMENSIONS["ratio"]) if unit in ("dB", "") else to_si(number, unit, kind)
    else:
        half_width = to_si(number, unit or own_unit, kind)
    if half_width <= 0:
        raise QuantityError(
            say("{whole} has a spread that is not above zero", whole=repr(whole)),
            code="empty_range",
            rule=say("the spread is half of the 95 % interval"),
            remedy=say("leave it out or write, for example, {centre} ± 5 %", centre=centre),
        )
    least, most = (_LEAST_DB, kind.high - kind.low) if kind.logarithmic else (kind.smallest, kind.high)
    if not least <= half_width <= most:
        what = say("{whole} has a spread that is too large", whole=repr(whole))
        raise QuantityError(
            what if half_width > most else say("{whole} has a spread that is too small", whole=repr(whole)),
            code="out_of_bounds",
            rule=say("the spread is half of the 95 % interval"),
            remedy=say("leave it out or write, for example, {centre} ± 1 dB", centre=centre)
            if kind.logarithmic
            else say("leave it out or write, for example, {centre} ± 5 %", centre=centre),
        )
    return half_width


def _parse_range(text: str, kind: Dimension) -> Uniform:
    if text.count("..") != 1 or "..." in text:
        raise _malformed(text, kind)
    low_text, _, high_text = text.partition("..")
    high_number, high_unit = _term(high_text, kind)
    low_number, low_unit = _term(low_text, kind)
    high = to_si(high_number, high_unit, kind)
    low = to_si(low_number, low_unit or high_unit, kind)
    _check_bounds(low, text, kind)
    _check_bounds(high, text, kind)
    if not low < high:
        raise QuantityError(
            say("the range {text} is empty", text=repr(text)),
            code="empty_range",
            rule=say("the lower end comes first"),
            remedy=say("write {high_text} .. {low_text}", high_text=high_text.strip(), low_text=low_text.strip())
            if low > high
            else say("write the one value without .."),
        )
    return Uniform(low, high)


def _check_bounds(value: float, text: str, kind: Dimension) -> None:
    if not math.isfinite(value):
        raise _malformed(text, kind)
    too_small = 0 < abs(value) < kind.smallest
    if not too_small and kind.low <= value <= kind.high and not (kind.open_low and value <= kind.low):
        return
    shown = 100 if kind.name == "fraction" else 1
    unit = "" if kind.unit == "1" else f" {kind.unit}"
    low, least, high = (
        f"{bound * shown:g}{' %' if kind.name == 'fraction' else unit}"
        for bound in (kind.low, kind.smallest, kind.high)
    )
    if too_small:
        bound = say("at least {low}", low=least) if kind.open_low else say("0 or at least {low}", low=least)
    else:
        bound = say("above {low}", low=low) if kind.open_low else say("at least {low}", low=low)
    bounds = joined([bound, say("at most {high}", high=high)], "{a} and {b}")
    raise QuantityError(
        say("{text} is out of bounds", text=repr(text)),
        code="out_of_bounds",
        rule=say("a {name} must be {listed}", name=NAMES[kind.name], listed=bounds),
        remedy=say("write, for example, {example}", example=kind.example),
    )
