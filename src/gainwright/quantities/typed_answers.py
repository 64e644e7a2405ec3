"""Answers that a person types which are more than one number: a lead, a row of a column, a place of a control, a word.

What an answer is written as, `str()` of it, reads as the same answer again.
"""

from __future__ import annotations

import csv
import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from gainwright.errors import AnswerError
from gainwright.quantities.quantity import Quantity
from gainwright.quantities.typed_numbers import (
    LONGEST,
    NUMBER,
    OPEN,
    OVER_PATTERN,
    OVER_RANGE,
    is_bare,
    plain_number,
    read_measured,
    refused,
    tidied,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

HIGHEST_STEP = 1000
"""Steps of a volume beyond which a number is a slip of the pen."""
LEAD_EXAMPLE: Final = "0.3, or 0.3 open"
READING_EXAMPLE: Final = "0.35, 350 mV or OL"
ROW_EXAMPLE: Final = "12 3.45"

_UNIT = r"[A-Za-zµΩ]{1,6}"
_OHM = r"(?:ohms?|Ω)(?![A-Za-z])"
_ONE_OF_A_LEAD = re.compile(
    rf"(?P<open>open(?: circuit)?)|(?P<short>short(?:ed)?(?: circuit)?)|(?P<ohms>(?:{OVER_PATTERN})(?:\s*[kM]?{_OHM})?"
    rf"|[0-9]*[RkMG][0-9]+(?:\s*{_OHM})?"
    rf"|{NUMBER}(?:\s*(?!open|short|ol\b|and\b){_UNIT})?)",
    re.IGNORECASE,
)
_BETWEEN_TWO = re.compile(r"\s*[;,/]\s*|\s+and\s+|\s+")
_TWO_OR_ONE = re.compile(r"(?<![0-9.,])[0-9]{1,3} [0-9]{3}(?![0-9.,])|[0-9],[0-9]+,[0-9]")
_STEP = re.compile(r"(?:step )?(?P<step>[0-9]{1,4}(?:[.,][0-9]{1,3})?)(?: ?%)?", re.IGNORECASE)
_SPACED_ROW = re.compile(rf"(?:step )?(?P<step>{NUMBER})(?: ?%)?(?:\s*[;:=]\s*|,?\s+)(?P<volts>\S.*)", re.IGNORECASE)
_WITH_DISTORTION = re.compile(rf"(?P<volts>.+?)(?:\s*;\s*|,?\s+)(?P<thd>{NUMBER})\s*%")
_WITH_PLACE = re.compile(r"(?P<volts>.+?)\s+at\s+(?P<place>.+)", re.IGNORECASE)
_VOLT_UNIT = re.compile(r"[mkuµ]?v(?:olts?)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Lead:
    """What was read of a lead: along a conductor from end to end, and between the conductors; None where it wasn't."""

    end_to_end: Quantity | str | None = None
    between: Quantity | str | None = None

    def __str__(self) -> str:
        if self.end_to_end is None:
            return "shorted"
        return str(self.end_to_end) if self.between is None else f"{self.end_to_end}; {self.between}"


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a column of readings: a step, and volts or `over_range`; None for a step alone."""

    step: float
    volts: Quantity | str | None = None

    def __str__(self) -> str:
        step = repr(self.step).removesuffix(".0")
        return step if self.volts is None else f"{step}; {self.volts}"


@dataclass(frozen=True, slots=True)
class Volts:
    """Volts or `over_range`, with the distortion or the place of a control that was said beside them."""

    volts: Quantity | str
    distortion: Quantity | None = None
    place: Quantity | None = None

    def __str__(self) -> str:
        beside = f"; {self.distortion}" if self.distortion else f" at {self.place}" if self.place else ""
        return f"{self.volts}{beside}"


def read_volts(text: str, *, beside: str = "") -> Volts:
    """Return volts, a number alone being volts.

    Parameters
    ----------
    beside : `distortion` where per cent may stand behind them (`1.2 V; 3 %`), `place` where a gain's may (`31 V at 40 %`).

    Raises
    ------
    AnswerError : it is none.
    """
    said = tidied(text)
    if len(said) > LONGEST:
        raise refused(text, example=READING_EXAMPLE)
    found = {"distortion": _WITH_DISTORTION, "place": _WITH_PLACE}[beside].fullmatch(said) if beside else None
    try:
        volts = read_measured(found["volts"] if found else said, "voltage", unit="V", words=(OVER_RANGE,))
        second = read_position(found[2], "fraction") if found else None
    except AnswerError as error:
        raise refused(text, rule=error.rule, example=READING_EXAMPLE) from None
    return Volts(volts, **({beside: second} if beside and second else {}))


def read_ohms(text: str, *, example: str = "3.4 or open") -> Quantity | str:
    """Return ohms or `open`, a number alone being ohms. AnswerError: it is neither."""
    return read_measured(text, "resistance", unit="ohm", words=(OPEN,), example=example)


def read_lead(text: str) -> Lead:
    """Return what was read of a lead: end to end first, between its conductors second; `shorted` is 0 ohm between them.

    Raises
    ------
    AnswerError : it is none of these.
    """
    said, at = tidied(text), 0
    parts: list[re.Match[str]] = []
    if _TWO_OR_ONE.search(said):
        raise refused(text, rule="it can be one number or two", example="0.3; 2.5 for two, 1200 for one")
    while at < len(said) <= LONGEST:
        one = _ONE_OF_A_LEAD.match(said, at)
        if one is None or len(parts) == 2:
            break
        parts.append(one)
        rest = _BETWEEN_TWO.match(said, one.end())
        at = rest.end() if rest else one.end()
        if rest is None:
            break
    if not parts or at != len(said):
        rule = "it doesn't say how much" if re.search(r"\bnot\b|n't", said.lower()) else ""
        raise refused(text, rule=rule, example=LEAD_EXAMPLE)
    ohms = [_ohms(part, text) for part in parts]
    if len(parts) == 1 and parts[0]["short"]:
        return Lead(None, ohms[0])
    return Lead(ohms[0], ohms[1] if len(ohms) > 1 else None)


def _ohms(part: re.Match[str], text: str) -> Quantity | str:
    try:
        return read_ohms("0 ohm" if part["short"] else part[0])
    except AnswerError as error:
        raise refused(text, rule=error.rule, example=LEAD_EXAMPLE) from None


def read_position(text: str, dimension: str, *, unit: str = "") -> Quantity:
    """Return where a control stands that stands at per cent of its travel or at decibels.

    Parameters
    ----------
    dimension : `fraction` or `ratio`; a number alone is in per cent or decibels.

    Raises
    ------
    AnswerError : it is no such place.
    """
    unit = unit or {"fraction": "%", "ratio": "dB"}[dimension]
    found = read_measured(text, dimension, unit=unit, example={"fraction": "30 %", "ratio": "-6 dB"}[dimension])
    assert isinstance(found, Quantity)  # noqa: S101  no words were allowed
    return found


def read_step(text: str, *, example: str = "34") -> float:
    """Return a step of a volume, 0 to 1000, three decimals at most. AnswerError: it is none."""
    found = _STEP.fullmatch(tidied(text))
    value = float(found["step"].replace(",", ".")) if found else HIGHEST_STEP + 1
    if value > HIGHEST_STEP:
        raise refused(text, rule=f"a step is 0 to {HIGHEST_STEP}", example=example)
    return value


def cells_of(line: str) -> list[str]:
    """Return the cells of a line: divided by semicolons, tabs, a space behind a step, or else commas."""
    for separator in (";", "\t"):
        if separator in line:
            return _divided(line, separator)
    said = tidied(line)
    spaced = _SPACED_ROW.fullmatch(said)
    if spaced and not _VOLT_UNIT.fullmatch(spaced["volts"]):
        return [spaced["step"], spaced["volts"]]
    return _divided(line, ",") if "," in line else [said]


def _divided(line: str, separator: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
    except csv.Error:
        return []


def row_of(step: str, volts: str, *, text: str, from_zero: bool = False) -> Row:
    """Return a row of its two cells.

    Parameters
    ----------
    text : what an error repeats.
    from_zero : whether the step is one of a volume (`read_step`), not any number.

    Raises
    ------
    AnswerError : they are no step and volts.
    """
    try:
        at = read_step(step) if from_zero else plain_number(step, "%")
        return Row(at, read_measured(volts, "voltage", unit="V", words=(OVER_RANGE,)))
    except AnswerError as error:
        raise refused(text, rule=error.rule, example=f"{ROW_EXAMPLE}, a step and volts") from None


def read_row(text: str, *, step_alone: bool = False) -> Row:
    """Return a step with volts; where it may stand alone, as the last clean one of a volume, also a step.

    Raises
    ------
    AnswerError : it is neither, or could be both.
    """
    cells = cells_of(text)
    if len(cells) == 2:
        if step_alone and is_bare(text):
            raise refused(text, rule="it can be a step alone, or a step and volts", example="12.5, or 12 5 for volts")
        return row_of(*cells, text=text, from_zero=step_alone)
    if step_alone and len(cells) == 1:
        return Row(read_step(text, example=f"34 for the last clean step, or a step and volts: {ROW_EXAMPLE}"))
    raise refused(text, rule="it is a step and volts", example=ROW_EXAMPLE)


def read_choice(text: str, choices: Mapping[str, str] | Iterable[str]) -> str:
    """Return which of some words is meant: of a mapping, typed word -> what it means.

    Capitals, hyphens and underscores are as good as any.

    Raises
    ------
    AnswerError : it is none of them.
    """
    meant = dict(choices) if isinstance(choices, Mapping) else {word: word for word in choices}
    known = {_plain(word): found for word, found in meant.items()}
    said = _plain(text)
    if said in known:
        return known[said]
    words = list(meant)
    near = difflib.get_close_matches(said, known, n=1)
    listed = f"{', '.join(words[:-1])} or {words[-1]}" if len(words) > 1 else "".join(words)
    raise refused(text, what="answer here", rule=f"it is {listed}", example=near[0] if near else words[0])


def read_several(text: str, choices: Sequence[str], *, none: Sequence[str] = ("none",)) -> tuple[str, ...]:
    """Return which of some words are meant, commas or semicolons between them, each once and in the order of `choices`.

    Parameters
    ----------
    none : words that mean none of them.

    Raises
    ------
    AnswerError : it names anything else.
    """
    said = [part for part in map(_plain, re.split(r"[,;]", text)) if part]
    if len(said) == 1 and said[0] in none:
        return ()
    known = {_plain(choice): choice for choice in choices}
    if not said or not set(said) <= set(known):
        rule = f"it is {none[0]}, or some of {', '.join(choices)}"
        raise refused(text, what="answer here", rule=rule, example=", ".join(choices[:2]) or none[0])
    return tuple(choice for plain, choice in known.items() if plain in said)


def _plain(text: str) -> str:
    return " ".join(tidied(text).casefold().replace("_", " ").replace("-", " ").split())
