"""Crossover filters as people write them: `linkwitz-riley 24 at 80 Hz`, `80 Hz LR4`, `BW 12 @ 3,2 kHz`."""

from __future__ import annotations

import re

from gainwright.errors import QuantityError
from gainwright.quantities import Quantity, parse
from gainwright.texts import say

FILTER_SLOPES = {
    "butterworth": (6, 12, 18, 24, 30, 36, 42, 48),
    "bessel": (6, 12, 18, 24, 30, 36, 42, 48),
    "linkwitz-riley": (12, 24, 36, 48),
}
"""Shape -> its slopes, dB per octave."""
_SHAPES = {"linkwitzriley": "linkwitz-riley", "lr": "linkwitz-riley", "butterworth": "butterworth", "bw": "butterworth", "bessel": "bessel"}  # fmt: skip
_SHAPE = re.compile(
    r"\b(?P<shape>linkwitz[\s\-]?riley|l-?r|butterworth|bw|bessel)[\s\-]*(?P<number>[0-9]{1,2}(?![0-9.,]|\s*k?hz|\s*k\b|\s*db))?",
    re.IGNORECASE,
)
_SLOPE = re.compile(r"\b(?P<slope>[0-9]{1,2})\s*dB(?:\s*(?:/|per)\s*oct(?:ave)?\.?)?", re.IGNORECASE)
_CORNER_AFTER = re.compile(r"(?:\bat\b|@)\s*(?P<corner>.+)$", re.IGNORECASE)
_ORDER = re.compile(r"\b(?P<order>[1-8])(?:st|nd|rd|th)[\s\-]+order\b", re.IGNORECASE)
_CORNER = re.compile(
    r"(?P<corner>[0-9]+(?:[.,][0-9]+)?\s*(?:k?Hz|k\b)(?:\s*(?:±|\+-|\+/-)\s*[0-9.,]+\s*(?:%|k?Hz))?)", re.IGNORECASE
)
FIRST_ORDER_DB = 6
HIGHEST_ORDER = 8
USUAL_SLOPE = 24
"""Taken in a question where no slope is said."""
LOWEST_BARE_HZ = 20.0
"""A corner without a unit is in hertz from here on; below, it may be kilohertz."""


def read_filter(text: str) -> tuple[str, int, Quantity] | None:
    """Return shape, dB per octave and corner of a filter; None for text that isn't one.

    `LR4` is an order, `LR24` a slope: 6 dB per octave for each order.

    Raises
    ------
    QuantityError : the corner isn't a frequency, or the shape is missing.
    """
    rest = text.strip()
    corner = _CORNER_AFTER.search(rest) or _CORNER.search(rest)
    if corner is None:
        return None
    rest, tail = rest[: corner.start()] + rest[corner.end() :], corner["corner"]
    shape = _SHAPE.search(rest)
    if shape is not None:
        rest = rest[: shape.start()] + rest[shape.end() :]
    elif shape := _SHAPE.search(tail):  # 24 dB at 80 Hz LR
        tail = tail[: shape.start()] + tail[shape.end() :]
    order = _ORDER.search(rest)
    if order is not None:
        rest = rest[: order.start()] + rest[order.end() :]
    said = _SLOPE.search(rest)
    if said is not None:
        rest = rest[: said.start()] + rest[said.end() :]
    if said is not None or order is not None:
        slope = int(said["slope"]) if said is not None else FIRST_ORDER_DB * int(order["order"])  # type: ignore[index]
    else:
        slope = 0 if shape is None else _slope(shape, tail)
    if rest.strip(" ,-") or not slope:
        return None
    at = _corner(tail)
    if shape is None:
        raise no_shape(text, at, slope)
    return _name(shape), slope, at


def bare_corner(text: str) -> Quantity | None:
    """Return the frequency that is all a text says of a filter; None for any other text."""
    match = _CORNER.fullmatch(text.strip())
    return None if match is None else _corner(match["corner"])


def no_shape(text: str, at: Quantity, slope: int = USUAL_SLOPE) -> QuantityError:
    """Return the question which shape a filter has, and which slope where none is said."""
    return QuantityError(
        say("{text} doesn't say which shape", text=repr(text)),
        code="no_shape",
        rule=say("at its corner a linkwitz-riley is 6 dB down, a butterworth 3 dB"),
        remedy=say("write linkwitz-riley {slope} at {at} or butterworth {slope} at {at}", slope=slope, at=at),
    )


def _name(shape: re.Match[str]) -> str:
    return _SHAPES[re.sub(r"[\s\-]", "", shape["shape"].lower())]


def _slope(shape: re.Match[str], corner: str) -> int:
    """Return dB per octave from the number after a shape: an order up to the eighth, else a slope; 0 for none."""
    number = int(shape["number"] or 0)
    if number == FIRST_ORDER_DB and len(shape["shape"]) == len("bw"):
        name, at = _name(shape), corner.strip()
        raise QuantityError(
            say("{shape} may be 6 dB per octave or the sixth order", shape=repr(shape[0])),
            code="no_quantity",
            remedy=say("write {name} 36 at {at}", name=name, at=at)
            if name == "linkwitz-riley"
            else say("write {name} 36 at {at} or {name} 6 at {at}", name=name, at=at),
        )
    return number if number == FIRST_ORDER_DB or number > HIGHEST_ORDER else FIRST_ORDER_DB * number


def _corner(text: str) -> Quantity:
    plain = text.strip()
    if re.fullmatch(r"[0-9]+(?:[.,][0-9]+)?", plain) and float(plain.replace(",", ".")) >= LOWEST_BARE_HZ:
        return parse(f"{plain} Hz", "frequency")
    return parse(plain, "frequency")
