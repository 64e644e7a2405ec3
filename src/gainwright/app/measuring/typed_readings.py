"""Readings as a person types them: a comma or a point, a unit or none, over range, open."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from gainwright.errors import CallError, GainwrightError

if TYPE_CHECKING:
    from collections.abc import Sequence

Asked = Literal["volts", "supply", "ohm", "lead", "place", "column", "look"]
"""What is asked: volts of a tone, of the supply, ohms, a lead's ohms, a step of the volume, steps with volts, a look."""

_DIMENSION = {"volts": "voltage", "supply": "voltage", "ohm": "resistance", "lead": "resistance"}
_UNIT = {"voltage": "V", "resistance": "ohm"}
_OVER = ("ol", "o.l", "0l", "0.l", "over range", "over_range", "overload", "open", "oo", "inf")
_BARE = re.compile(r"[+-]?\d+(?:\.\d+)?")
_LEAD = re.compile(r"open|o\.?l\b|shorted|short|\d+(?:\.\d+)?(?:\s*[kM]?(?:ohm|Ω|Ω|R))?", re.IGNORECASE)
_EXAMPLE = {
    "volts": "0.35, 350 mV or OL",
    "supply": "13.8",
    "ohm": "3.4 or open",
    "lead": "0.3, or 0.3 open",
    "place": "34",
    "column": "34 for the last clean step, or a step and volts: 12 3.45",
    "look": "the marks that are lit, with commas between, or none",
}


@dataclass(frozen=True, slots=True)
class Typed:
    """What was typed.

    Attributes
    ----------
    value : volts, ohms, or a step; infinite when the meter showed that it can't tell, or open.
    at : where the control ended, as typed, empty when not said.
    between : of a lead, ohms between its conductors, None when not said.
    volts : the reading at a step of a column; None otherwise.
    lit : the marks of an indicator that are lit, none of them for an empty one; None of any other answer.
    """

    value: float
    at: str = ""
    between: float | None = None
    volts: float | None = None
    lit: tuple[str, ...] | None = None


def typed(text: str, asked: Asked, marks: Sequence[str] = ()) -> Typed:
    """Return what was typed as an answer to what was asked; `marks` are those of the indicator that is looked at.

    Raises
    ------
    CallError : it is no such answer; says what would be.
    """
    said = " ".join(text.replace("−", "-").split())
    if not said:
        raise _no(text, asked)
    try:
        if asked == "look":
            return Typed(math.nan, lit=lit_marks(said, marks))
        return _READERS[asked](said, asked)
    except (ValueError, GainwrightError) as error:
        raise _no(text, asked, error) from None


def _no(text: str, asked: Asked, error: Exception | None = None) -> CallError:
    rule = error.rule if isinstance(error, GainwrightError) and error.code == "out_of_bounds" else ""
    what = f"{text.strip()[:40]!r} is no reading" if text.strip() else "nothing was entered"
    return CallError(what, code="bad_reading", rule=rule, remedy=f"write for example {_EXAMPLE[asked]}")


def _point(text: str) -> str:
    """Return a number's text with a point for a decimal comma."""
    if "." in text and "," in text:
        raise ValueError(text)
    return text.replace(",", ".")


def number(text: str, dimension: str) -> float:
    """Return a number with its unit, or a bare one in volts or ohms, as SI.

    Raises
    ------
    QuantityError, ValueError : it is none, is out of bounds, or is a spread.
    """
    from gainwright.quantities import parse

    plain = _point(text.strip())
    if plain.lower() in _OVER:
        return math.inf
    found = parse(f"{plain} {_UNIT[dimension]}" if _BARE.fullmatch(plain) else plain, dimension)
    low, high = found.interval
    if not (math.isfinite(found.nominal) and low == high):
        raise ValueError(text)
    return found.nominal


def plain_number(text: str, unit: str) -> float:
    """Return a number that may carry its unit and a comma. ValueError: it is none."""
    value = float(_point(text.replace("−", "-").strip().removesuffix(unit).strip()))
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def _measured(said: str, asked: Asked) -> Typed:
    text, _, at = said.partition(" at ")
    value = number(text, _DIMENSION[asked])
    return Typed(value, at=_place(at) if at.strip() else "")


def _place(at: str) -> str:
    """Return where a gain ended, as a share of its travel."""
    plain = _point(at.strip().removesuffix("%").strip())
    share = float(plain)
    if not 0 <= share <= 100:
        raise ValueError(at)
    return f"{share:g} %"


def _lead(said: str, _asked: Asked) -> Typed:
    parts = _LEAD.findall(said.replace(",", "."))
    if not parts or _LEAD.sub("", said.replace(",", ".")).strip(" .;/"):
        raise ValueError(said)
    ohms = [0.0 if p.lower().startswith("short") else number(p, "resistance") for p in parts]
    if len(ohms) == 1 and parts[0].lower().startswith("short"):
        return Typed(0.0, between=0.0)
    return Typed(ohms[0], between=ohms[1] if len(ohms) > 1 else None)


def _step(said: str) -> float:
    value = float(_point(said.lower().removeprefix("step ").strip()))
    if not (math.isfinite(value) and 0 <= value <= 1000):
        raise ValueError(said)
    return value


def _stood(said: str, _asked: Asked) -> Typed:
    return Typed(_step(said))


def _row(said: str, _asked: Asked) -> Typed:
    step, _, volts = said.lower().removeprefix("step ").partition(" ")
    if not volts:
        return Typed(_step(step))
    read = number(said[len(said) - len(volts) :].removeprefix("; ").removeprefix("= "), "voltage")
    return Typed(_step(step.rstrip(";:=")), volts=read)


def lit_marks(text: str, marks: Sequence[str]) -> tuple[str, ...]:
    """Return the marks that a text names, in their own order: names with commas between, or `none`.

    ValueError: it names anything else.
    """
    from gainwright.model import NO_MARK

    parts = [part.strip().casefold() for part in re.split(r"[,;]", text) if part.strip()]
    if parts in ([NO_MARK], ["nothing"]):
        return ()
    if not parts or not set(parts) <= {mark.casefold() for mark in marks}:
        raise ValueError(text)
    return tuple(mark for mark in marks if mark.casefold() in parts)


_READERS = {
    "volts": _measured,
    "supply": _measured,
    "ohm": _measured,
    "lead": _lead,
    "place": _stood,
    "column": _row,
}
