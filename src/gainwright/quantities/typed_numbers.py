"""Read numbers as people type them: decimal comma or point, with or without a unit, `4k7`, `OL`, `open`.

All typed numbers are read here, whether from the terminal, a page, a file of readings or an evidence file. Only the
ten ASCII digits count as digits.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Final

from gainwright.errors import AnswerError, QuantityError
from gainwright.quantities.dimensions import DIMENSIONS
from gainwright.quantities.quantity import Quantity, parse
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

NUMBER: Final = r"[+-]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
"""A number with a decimal point or comma."""
OVER_RANGE: Final = "over_range"
OPEN: Final = "open"
"""What a meter shows when it can't give a number, as written in evidence files."""
OVER_PATTERN: Final = r"over[ _-]?range|overload|infinity|infinite|inf|∞|oo|[o0]?\.?[o0]\.?l(?![a-z])\.?"
"""What meters show and people type for over range: `OL`, `0L`, `O.L`, `0.L`, `.OL`."""
LONGEST = 200
SHOWN = 40
"""Characters of an unreadable text that its error repeats."""

_NUMBER = re.compile(NUMBER)
_OVER = re.compile(rf"(?:{OVER_PATTERN})(?P<unit>\s*[A-Za-zµΩ]{{0,6}})", re.IGNORECASE)
_GROUPED = re.compile(r"(?<![0-9.,])[0-9]{1,3}(?:[\u00a0\u2009\u202f][0-9]{3})+(?![0-9])")
_SIGNS = dict.fromkeys(map(ord, "\u2212\u2013\u2010\u2011\ufe63\uff0d"), "-") | {0x2126: "\u03a9", 0x03BC: "\u00b5"}
_INVISIBLE = dict.fromkeys(map(ord, "\u200b\u200c\u200d\u200e\u200f\u2060\ufeff"))
_COMPONENT = {
    "resistance": re.compile(r"(?P<whole>[0-9]*)(?P<letter>[RrkKmMG])(?P<part>[0-9]+)(?:\s*(?:ohms?|Ω))?"),
    "voltage": re.compile(r"(?P<whole>[0-9]+)(?P<letter>[Vv])(?P<part>[0-9]+)"),
}
# The letter replaces the decimal sign (IEC 60062:2016, clause 4: R, K, M, G); small k and m are common practice.
_PREFIX_OF = {"R": "", "r": "", "V": "", "v": "", "K": "k"}
_OHM = re.compile(r"(?P<prefix>m|k|K|M|G|[Mm][Ee][Gg])?\s?(?:[Oo][Hh][Mm][Ss]?|Ω|[Rr])?")
_VOLT = re.compile(r"(?P<prefix>n|u|µ|m|k|K)?(?:[Vv](?:olts?)?)")
_DECIBEL = re.compile(r"[dD][bB]")
_PER_CENT = re.compile(r"%|per ?cent", re.IGNORECASE)
_MEGAVOLTS = re.compile(r"M[Vv](?:olts?)?")
_NOT = re.compile(r"\b(?:not?|never|without|nicht|kein|keine|ohne)\b|n['’]t\b", re.IGNORECASE)


_ENGLISH = {
    r"offen|unterbrochen|unterbrechung": "open",
    r"kurz|kurzschluss|kurzgeschlossen": "short",
    r"unendlich|überlauf|messbereich überschritten": "over range",
    r"und": "and",
    r"bei": "at",
    r"stufe": "step",
}
"""Words that a German-speaking person types into a reading -> what they mean."""


def in_english(text: str) -> str:
    """Return a normalised text of numbers with its German words in English."""
    for words, meant in _ENGLISH.items():
        text = re.sub(rf"(?<!\w)(?:{words})(?!\w)", meant, text, flags=re.IGNORECASE)
    return text


def normalise_text(text: str) -> str:
    """Return text with plain spaces, minus signs and unit signs, and without spaces between groups of digits."""
    joined = _GROUPED.sub(lambda found: re.sub(r"\s", "", found[0]), text)
    return " ".join(joined.translate(_INVISIBLE | _SIGNS).split()).rstrip(". ")


def _invalid(what: str, text: str) -> str:
    if what == "reading":
        return say("{text} is not a valid reading", text=text)
    if what == "number":
        return say("{text} is not a valid number", text=text)
    if what == "answer here":
        return say("{text} is not a valid answer here", text=text)
    return f"{text} is not a valid {what}"


def unreadable(text: str, *, what: str = "reading", rule: str = "", example: str) -> AnswerError:
    """Return the error for text that can't be read: the text, what would be valid, an example."""
    shown = " ".join(text[: 2 * SHOWN].split())
    shown = shown if len(shown) <= SHOWN else shown[:SHOWN] + "…"
    message = _invalid(what, repr(shown)) if shown else say("nothing was entered")
    return AnswerError(
        message, code="bad_reading", rule=rule, remedy=say("write, for example, {example}", example=example)
    )


def whole_number(text: str, *, most: int = 10**9) -> int | None:
    """Return a whole number of ASCII digits, 0 to `most`; None for any other text."""
    plain = text.strip()
    if not (plain.isascii() and plain.isdigit() and len(plain) <= len(str(most))):
        return None
    return int(plain) if int(plain) <= most else None


def is_bare(text: str) -> bool:
    """Return whether text is a number without a unit."""
    return _NUMBER.fullmatch(normalise_text(text)) is not None


def decimal(text: str) -> str | None:
    """Return a bare number with a decimal point and a digit before it; None for any other text."""
    plain = normalise_text(text)
    if not _NUMBER.fullmatch(plain):
        return None
    plain = plain.replace(",", ".")
    return re.sub(r"^([+-]?)\.", r"\g<1>0.", plain)


def read_plain_number(text: str, unit: str = "") -> float:
    """Read a number that may have its unit.

    Raises
    ------
    AnswerError : not a number.
    """
    plain = normalise_text(text)
    carries = unit and plain.lower().endswith(unit.lower())
    found = decimal(plain[: -len(unit)] if carries else plain)
    value = math.nan if found is None else float(found)
    if not math.isfinite(value):
        raise unreadable(text, what="number", example=f"1.5 {unit}".strip())
    return value


def read_measured(
    text: str, dimension: str, *, unit: str = "", words: Sequence[str] = (), example: str = "", exact: bool = True
) -> Quantity | str:
    """Read a measured value: a quantity, or one of `words`.

    Parameters
    ----------
    dimension : key of `DIMENSIONS`.
    unit : the unit assumed when none is typed; empty when one must be typed.
    words : which of `over_range` and `open` are allowed; `OL` means `open` where only that is allowed.
    exact : whether a spread, a range and `unknown` are refused.

    Raises
    ------
    AnswerError : none of these, or out of bounds; says what would be valid.
    """
    example = example or _example(dimension, unit, words)
    what = "reading" if exact else DIMENSIONS[dimension].name
    plain = in_english(normalise_text(text))
    if not plain or len(plain) > LONGEST:
        raise unreadable(text, what=what, example=example)
    word = _word(plain, dimension, words)
    if word:
        return word
    try:
        written = _with_unit(plain, dimension, unit)
        if written or not exact:
            return parse(written or plain, dimension)
    except QuantityError as error:
        raise unreadable(text, what=what, rule=_rule(plain, error), example=example) from None
    raise unreadable(text, what=what, rule=_rule(plain, None), example=example)


def _word(plain: str, dimension: str, words: Sequence[str]) -> str:
    """Return which of the words it is; empty for none."""
    low = " ".join(plain.lower().replace("_", " ").split())
    if low in ("open", "open circuit"):
        return OPEN if OPEN in words else ""
    over = _OVER.fullmatch(plain)
    if over and words and _is_unit(over["unit"].strip(), dimension):
        return OVER_RANGE if OVER_RANGE in words else OPEN
    return ""


def _is_unit(unit: str, dimension: str) -> bool:
    try:
        return not unit or parse(f"1 {_spelt(unit, dimension)}", dimension).known
    except QuantityError:
        return False


def _with_unit(plain: str, dimension: str, unit: str) -> str:
    """Return a number with its unit as a job file writes it; empty when it isn't a number with one unit."""
    component = _COMPONENT[dimension].fullmatch(plain) if dimension in _COMPONENT else None
    if component and (component["whole"] or component["letter"] in "Rr"):
        letter = component["letter"]
        base = "ohm" if dimension == "resistance" else "V"
        return f"{component['whole'] or '0'}.{component['part']} {_PREFIX_OF.get(letter, letter)}{base}"
    match = _NUMBER.match(plain)
    number = decimal(match[0]) if match else None
    if match is None or number is None:
        return ""
    typed = plain[match.end() :].strip()
    if re.search(r"[0-9]", typed) or typed[:1] in (".", ",", "±", "+", "-"):
        return ""
    if dimension == "voltage" and _MEGAVOLTS.fullmatch(typed):
        raise QuantityError(say("MV means megavolts, mV millivolts"), code="wrong_unit")
    return f"{number} {_spelt(typed, dimension) or unit}".strip()


def _spelt(typed: str, dimension: str) -> str:
    """Return a unit as a job file spells it; an unknown one as it was typed."""
    if dimension == "resistance" and typed and (found := _OHM.fullmatch(typed)):
        prefix = found["prefix"] or ""
        return f"{'M' if prefix.lower() == 'meg' else _PREFIX_OF.get(prefix, prefix)}ohm"
    if dimension == "voltage" and (found := _VOLT.fullmatch(typed)):
        prefix = found["prefix"] or ""
        return f"{_PREFIX_OF.get(prefix, prefix)}V"
    if dimension == "ratio" and _DECIBEL.fullmatch(typed):
        return "dB"
    if dimension == "fraction" and _PER_CENT.fullmatch(typed):
        return "%"
    return typed


def _rule(plain: str, error: QuantityError | None) -> str:
    if _NOT.search(plain):
        return say("it doesn't give a value")
    if error is None or error.code == "no_quantity":
        return ""
    return error.rule if error.code == "out_of_bounds" else error.what


def _example(dimension: str, unit: str, words: Sequence[str]) -> str:
    kind = DIMENSIONS[dimension]
    return " or ".join([kind.example.removesuffix(unit).strip(), *(word.replace("_", " ") for word in words)])
