"""The dimensions a job file may use, their SI unit, their bounds, and the units people write.

A short table covers the common units; any other unit goes to pint, which is imported only then (0.3 s). A
test checks the table against pint. Decibel references are our own, since pint's `dBu` is a decibel of a microwatt.
"""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass

from gainwright.errors import QuantityError
from gainwright.quantities.spellings import standard_unit
from gainwright.texts import say

_PLAIN_UNIT = re.compile(r"[A-Za-zµΩ°_]{1,20}(?:\^?[23])?")
_PREFIX = {
    "p": 1e-12,
    "n": 1e-9,
    "u": 1e-6,
    "µ": 1e-6,
    "μ": 1e-6,
    "m": 1e-3,
    "": 1.0,
    "k": 1e3,
    "M": 1e6,
    "G": 1e9,
}


def _with_prefixes(symbols: tuple[str, ...], prefixes: str) -> dict[str, float]:
    return {p + s: _PREFIX[p] for s in symbols for p in ("", *prefixes)}


@dataclass(frozen=True, slots=True)
class Dimension:
    """One kind of physical number.

    Attributes
    ----------
    name : what messages call it.
    unit : SI unit of its values (for a level, its reference).
    units : unit text -> factor to the SI unit.
    pint_unit : unit that pint must be able to convert to; empty when no other unit is accepted.
    low, high : closed bounds in the SI unit; `open_low` excludes the lower one. Upper ones are far beyond any vehicle.
    smallest : the least value above zero, and the least spread, far below what is measured.
    example : a valid text.
    logarithmic : values are decibels, so a spread in per cent would be ambiguous.
    """

    name: str
    unit: str
    units: dict[str, float]
    pint_unit: str = ""
    low: float = -math.inf
    high: float = math.inf
    open_low: bool = False
    smallest: float = 0.0
    example: str = ""
    logarithmic: bool = False


def _dimension(name: str, unit: str, units: dict[str, float], **rest: object) -> tuple[str, Dimension]:
    return name, Dimension(name=name, unit=unit, units=units, **rest)  # type: ignore[arg-type]


DIMENSIONS: dict[str, Dimension] = dict(
    (
        _dimension(
            "voltage",
            "V",
            _with_prefixes(("V",), "numkµμ"),
            pint_unit="volt",
            low=0.0,
            high=1e5,
            smallest=1e-9,
            example="4 V",
        ),
        _dimension(
            "resistance",
            "ohm",
            _with_prefixes(("ohm", "Ω", "Ω"), "mkM"),
            pint_unit="ohm",
            low=0.0,
            high=1e12,
            smallest=1e-6,
            example="4 ohm",
        ),
        _dimension(
            "power",
            "W",
            _with_prefixes(("W",), "mk"),
            pint_unit="watt",
            low=0.0,
            high=1e7,
            smallest=1e-6,
            open_low=True,
            example="300 W",
        ),
        _dimension(
            "frequency",
            "Hz",
            _with_prefixes(("Hz",), "mkM"),
            pint_unit="hertz",
            low=0.0,
            high=1e10,
            smallest=1e-4,
            open_low=True,
            example="80 Hz",
        ),
        _dimension(
            "time",
            "s",
            _with_prefixes(("s",), "numµμ") | {"min": 60.0, "h": 3600.0},
            pint_unit="second",
            low=0.0,
            high=1e6,
            smallest=1e-9,
            example="2.5 ms",
        ),
        _dimension(
            "length",
            "m",
            {"m": 1.0, "cm": 0.01, "mm": 0.001, "km": 1000.0},
            pint_unit="metre",
            low=0.0,
            high=1e5,
            smallest=1e-6,
            example="5 m",
        ),
        _dimension(
            "area",
            "m2",
            {"mm2": 1e-6, "mm²": 1e-6, "cm2": 1e-4, "cm²": 1e-4},
            pint_unit="metre**2",
            low=0.0,
            high=1.0,
            smallest=1e-10,
            open_low=True,
            example="2.5 mm²",
        ),
        _dimension(
            "current",
            "A",
            _with_prefixes(("A",), "mu"),
            pint_unit="ampere",
            low=0.0,
            high=1e5,
            smallest=1e-9,
            example="40 A",
        ),
        _dimension(
            "air volume",
            "m3",
            {"L": 1e-3, "l": 1e-3, "m3": 1.0, "m³": 1.0},
            pint_unit="metre**3",
            low=0.0,
            high=100.0,
            smallest=1e-9,
            open_low=True,
            example="30 L",
        ),
        _dimension(
            "inductance",
            "H",
            _with_prefixes(("H",), "umµμ"),
            pint_unit="henry",
            low=0.0,
            high=1.0,
            smallest=1e-9,
            example="0.5 mH",
        ),
        _dimension(
            "charge",
            "Ah",
            {"Ah": 1.0, "mAh": 1e-3},
            pint_unit="ampere*hour",
            low=0.0,
            high=1e5,
            smallest=1e-6,
            open_low=True,
            example="70 Ah",
        ),
        _dimension("fraction", "1", {"%": 0.01}, low=0.0, high=1.0, smallest=1e-9, example="20 %"),
        _dimension("ratio", "dB", {"dB": 1.0}, low=-200.0, high=200.0, example="-6 dB", logarithmic=True),
        _dimension("level", "dBFS", {"dBFS": 1.0}, low=-200.0, high=0.0, example="-6 dBFS", logarithmic=True),
        _dimension(
            "sound level",
            "dB SPL",
            {"dB": 1.0, "dB SPL": 1.0},
            low=0.0,
            high=200.0,
            example="88 dB",
            logarithmic=True,
        ),
        _dimension("number", "1", {"": 1.0}, low=0.0, high=1e4, open_low=True, smallest=1e-3, example="0.7"),
    )
)

# dBu: re sqrt(0.6) V, dBV: re 1 V (1 mW in 600 ohm; IEC 60027-3 / IEC 60268-2).
_VOLTAGE_LEVELS = {"dBu": math.sqrt(0.6), "dBV": 1.0}
LARGEST_LEVEL = 200.0
"""Decibels beyond which a level must be a typing error."""
_PROGRAMME_LEVELS = ("dBFS", "dB SPL", "dBm", "dB")


def to_si(number: float, unit: str, dimension: Dimension) -> float:
    """Convert a number to the SI unit of a dimension.

    Raises
    ------
    QuantityError : the unit is unknown or belongs to another dimension.
    """
    if unit not in dimension.units:
        unit = standard_unit(unit, dimension.name)
    if unit in dimension.units:
        return number * dimension.units[unit]
    if dimension.name == "voltage" and unit in _VOLTAGE_LEVELS:
        if abs(number) > LARGEST_LEVEL:
            raise QuantityError(
                say("{number} {unit} is out of bounds", number=f"{number:g}", unit=unit),
                code="out_of_bounds",
                rule=say("a level is within ±{largest_level} {unit}", largest_level=f"{LARGEST_LEVEL:g}", unit=unit),
                remedy=say("write, for example, 4 dBu"),
            )
        return float(_VOLTAGE_LEVELS[unit] * 10 ** (number / 20))
    if unit == "" and dimension.name == "fraction" and number == 0:
        return 0.0
    if unit == "":
        raise _unit_error(say("{number} has no unit", number=f"{number:g}"), dimension)
    for other in DIMENSIONS.values():
        if unit in other.units:
            raise _unit_error(
                say(
                    "{unit} is a unit of {name}, not of {name2}",
                    unit=unit,
                    name=NAMES[other.name],
                    name2=NAMES[dimension.name],
                ),
                dimension,
            )
    if unit in _VOLTAGE_LEVELS or unit in _PROGRAMME_LEVELS or not dimension.pint_unit:
        shown = unit if unit.isprintable() else repr(unit)
        raise _unit_error(say("{unit} is not a unit of {name}", unit=shown, name=NAMES[dimension.name]), dimension)
    return _with_pint(number, unit, dimension)


NAMES = {
    "voltage": say("voltage"),
    "resistance": say("resistance"),
    "power": say("power"),
    "frequency": say("frequency"),
    "time": say("time"),
    "length": say("length"),
    "area": say("area"),
    "current": say("current"),
    "air volume": say("volume of air"),
    "inductance": say("inductance"),
    "charge": say("charge"),
    "fraction": say("fraction"),
    "ratio": say("ratio"),
    "level": say("level"),
    "sound level": say("sound level"),
    "number": say("number"),
}
"""Name of a dimension -> the same as a text that can be translated."""


def _unit_error(what: str, dimension: Dimension) -> QuantityError:
    name = NAMES[dimension.name]
    expected = (
        say("a {name} in {unit}", name=name, unit=dimension.unit)
        if dimension.unit != "1"
        else say("a {name}", name=name)
    )
    return QuantityError(
        what,
        code="wrong_unit",
        rule=say("{expected} is expected here", expected=expected),
        remedy=say("write, for example, {example}", example=dimension.example),
    )


@functools.cache
def _registry() -> object:
    import pint

    return pint.UnitRegistry()


def _with_pint(number: float, unit: str, dimension: Dimension) -> float:
    import pint

    if not _PLAIN_UNIT.fullmatch(unit):
        raise _unit_error(say("{unit} is not a unit", unit=repr(unit)), dimension)
    registry = _registry()
    try:
        magnitude = registry.Quantity(number, unit).to(dimension.pint_unit).magnitude  # type: ignore[attr-defined]
        return float(magnitude)
    except pint.DimensionalityError:
        raise _unit_error(
            say("{unit} is not a unit of {name}", unit=unit, name=NAMES[dimension.name]), dimension
        ) from None
    except Exception:  # noqa: BLE001  pint raises parser errors of many kinds for text that is not a unit
        raise _unit_error(say("{unit} is not a known unit", unit=repr(unit)), dimension) from None
