"""Read typed answers that are more than one number: a lead, a row of a column, a control position, a word.

The `str()` of an answer reads back as the same answer.
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
    in_english,
    is_bare,
    normalise_text,
    read_measured,
    read_plain_number,
    unreadable,
)
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

HIGHEST_STEP = 1000
"""Volume steps beyond which a number must be a typing error."""
LEAD_EXAMPLE: Final = "0.3, or 0.3 open"
READING_EXAMPLE: Final = "0.35, 350 mV or OL"
ROW_EXAMPLE: Final = "12 3.45"

GERMAN = {
    "ja": ("yes", "on", "right"),
    "nein": ("no", "off", "none"),
    "an": ("on",),
    "ein": ("on",),
    "aus": ("off", "out"),
    "richtig": ("right",),
    "falsch": ("wrong",),
    "still": ("silent",),
    "stumm": ("silent",),
    "leise": ("faint",),
    "verzerrt": ("distorted",),
    "brummt": ("hum",),
    "pfeift": ("whine",),
    "gewandert": ("moved",),
    "geblieben": ("stayed",),
    "keine": ("none",),
    "raus": ("out",),
    "rein": ("in",),
    "unbewegt": ("still",),
}
"""A word that a German-speaking person types -> what it means, in the order in which a choice is looked for."""
NONE_IN_GERMAN = ("keine", "keiner", "nichts")

_UNIT = r"[A-Za-zµΩ]{1,6}"
_OHM = r"(?:ohms?|Ω)(?![A-Za-z])"
_ONE_OF_A_LEAD = (
    rf"(?P<open>open(?: circuit)?)|(?P<short>short(?:ed)?(?: circuit)?)|(?P<ohms>(?:{OVER_PATTERN})(?:\s*[kM]?{_OHM})?"
    rf"|[0-9]*[RkMG][0-9]+(?:\s*{_OHM})?"
    rf"|{NUMBER}(?:\s*(?!open|short|ol\b|and\b){_UNIT})?)"
)
_BETWEEN_TWO = re.compile(r"\s*[;,/]\s*|\s+and\s+|\s+")
_TWO_OR_ONE = re.compile(r"(?<![0-9.,])[0-9]{1,3} [0-9]{3}(?![0-9.,])|[0-9],[0-9]+,[0-9]")
_STEP = re.compile(r"(?:step )?(?P<step>[0-9]{1,4}(?:[.,][0-9]{1,3})?)(?: ?%)?", re.IGNORECASE)
_SPACED_ROW = rf"(?:step )?(?P<step>{NUMBER})(?: ?%)?(?:\s*[;:=]\s*|,?\s+)(?P<volts>\S.*)"
_WITH_DISTORTION = re.compile(rf"(?P<volts>.+?)(?:\s*;\s*|,?\s+)(?P<thd>{NUMBER})\s*%")
_WITH_PLACE = re.compile(r"(?P<volts>.+?)\s+at\s+(?P<place>.+)", re.IGNORECASE)
_VOLT_UNIT = re.compile(r"[mkuµ]?v(?:olts?)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class LeadReading:
    """Readings of a lead: along a conductor from end to end, and between the conductors; None where there is none."""

    end_to_end: Quantity | str | None = None
    between: Quantity | str | None = None

    def __str__(self) -> str:
        if self.end_to_end is None:
            return "shorted"
        return str(self.end_to_end) if self.between is None else f"{self.end_to_end}; {self.between}"


@dataclass(frozen=True, slots=True)
class StepReading:
    """One row of a column of readings: a step, and volts or `over_range`; None for a step alone."""

    step: float
    volts: Quantity | str | None = None

    def __str__(self) -> str:
        step = repr(self.step).removesuffix(".0")
        return step if self.volts is None else f"{step}; {self.volts}"


@dataclass(frozen=True, slots=True)
class VoltageReading:
    """Volts or `over_range`, with the distortion or the control position given with them."""

    volts: Quantity | str
    distortion: Quantity | None = None
    place: Quantity | None = None

    def __str__(self) -> str:
        second = f"; {self.distortion}" if self.distortion else f" at {self.place}" if self.place else ""
        return f"{self.volts}{second}"


def read_volts(text: str, *, second: str = "") -> VoltageReading:
    """Read volts; a bare number is in volts.

    Parameters
    ----------
    second : `distortion` where per cent may follow (`1.2 V; 3 %`), `place` where a gain position may (`31 V at 40 %`).

    Raises
    ------
    AnswerError : not a voltage.
    """
    plain = in_english(normalise_text(text))
    if len(plain) > LONGEST:
        raise unreadable(text, example=READING_EXAMPLE)
    found = {"distortion": _WITH_DISTORTION, "place": _WITH_PLACE}[second].fullmatch(plain) if second else None
    try:
        volts = read_measured(found["volts"] if found else plain, "voltage", unit="V", words=(OVER_RANGE,))
        added = read_position(found[2], "fraction") if found else None
    except AnswerError as error:
        raise unreadable(text, rule=error.rule, example=READING_EXAMPLE) from None
    return VoltageReading(volts, **({second: added} if second and added else {}))


def read_ohms(text: str, *, example: str = "3.4 or open") -> Quantity | str:
    """Read ohms or `open`; a bare number is in ohms. AnswerError: it is neither."""
    return read_measured(text, "resistance", unit="ohm", words=(OPEN,), example=example)


def read_lead(text: str) -> LeadReading:
    """Read the readings of a lead: end to end first, between its conductors second; `shorted` is 0 ohm between them.

    Raises
    ------
    AnswerError : none of these.
    """
    plain, at = in_english(normalise_text(text)), 0
    parts: list[re.Match[str]] = []
    if _TWO_OR_ONE.search(plain):
        raise unreadable(text, rule=say("it could be one number or two"), example="0.3; 2.5 for two, 1200 for one")
    while at < len(plain) <= LONGEST:
        one = re.compile(_ONE_OF_A_LEAD, re.IGNORECASE).match(plain, at)
        if one is None or len(parts) == 2:
            break
        parts.append(one)
        rest = _BETWEEN_TWO.match(plain, one.end())
        at = rest.end() if rest else one.end()
        if rest is None:
            break
    if not parts or at != len(plain):
        rule = say("it doesn't give a value") if re.search(r"\b(?:not|nicht|kein)\b|n't", plain.lower()) else ""
        raise unreadable(text, rule=rule, example=LEAD_EXAMPLE)
    ohms = [_ohms(part, text) for part in parts]
    if len(parts) == 1 and parts[0]["short"]:
        return LeadReading(None, ohms[0])
    return LeadReading(ohms[0], ohms[1] if len(ohms) > 1 else None)


def _ohms(part: re.Match[str], text: str) -> Quantity | str:
    try:
        return read_ohms("0 ohm" if part["short"] else part[0])
    except AnswerError as error:
        raise unreadable(text, rule=error.rule, example=LEAD_EXAMPLE) from None


def read_position(text: str, dimension: str, *, unit: str = "") -> Quantity:
    """Read a control position, in per cent of its travel or in decibels.

    Parameters
    ----------
    dimension : `fraction` or `ratio`; a bare number is in per cent or decibels.

    Raises
    ------
    AnswerError : not such a position.
    """
    unit = unit or {"fraction": "%", "ratio": "dB"}[dimension]
    found = read_measured(text, dimension, unit=unit, example={"fraction": "30 %", "ratio": "-6 dB"}[dimension])
    assert isinstance(found, Quantity)  # noqa: S101  no words are allowed here
    return found


def read_step(text: str, *, example: str = "34") -> float:
    """Read a volume step, 0 to 1000, with at most three decimals. AnswerError: not a step."""
    found = _STEP.fullmatch(in_english(normalise_text(text)))
    value = float(found["step"].replace(",", ".")) if found else HIGHEST_STEP + 1
    if value > HIGHEST_STEP:
        raise unreadable(text, rule=say("a step is 0 to {HIGHEST_STEP}", HIGHEST_STEP=HIGHEST_STEP), example=example)
    return value


def split_cells(line: str) -> list[str]:
    """Split a line into cells at semicolons, tabs, the space after a step, or else commas."""
    for separator in (";", "\t"):
        if separator in line:
            return _split_at(line, separator)
    plain = in_english(normalise_text(line))
    spaced = re.fullmatch(_SPACED_ROW, plain, re.IGNORECASE)
    if spaced and not _VOLT_UNIT.fullmatch(spaced["volts"]):
        return [spaced["step"], spaced["volts"]]
    return _split_at(line, ",") if "," in line else [plain]


def _split_at(line: str, separator: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
    except csv.Error:
        return []


def read_row_cells(step: str, volts: str, *, text: str, from_zero: bool = False) -> StepReading:
    """Read a row from its two cells.

    Parameters
    ----------
    text : the line, for the error message.
    from_zero : whether the step must be a volume step (`read_step`) rather than any number.

    Raises
    ------
    AnswerError : they are not a step and volts.
    """
    try:
        at = read_step(step) if from_zero else read_plain_number(step, "%")
        return StepReading(at, read_measured(volts, "voltage", unit="V", words=(OVER_RANGE,)))
    except AnswerError as error:
        raise unreadable(text, rule=error.rule, example=f"{ROW_EXAMPLE}, a step and volts") from None


def read_row(text: str, *, step_alone: bool = False) -> StepReading:
    """Read a step with volts; with `step_alone`, such as the last clean volume step, also a step by itself.

    Raises
    ------
    AnswerError : it is neither, or could be both.
    """
    cells = split_cells(text)
    if len(cells) == 2:
        if step_alone and is_bare(text):
            raise unreadable(
                text, rule=say("it could be a step alone, or a step and volts"), example="12.5, or 12 5 for volts"
            )
        return read_row_cells(*cells, text=text, from_zero=step_alone)
    if step_alone and len(cells) == 1:
        return StepReading(read_step(text, example=f"34 for the last clean step, or a step and volts: {ROW_EXAMPLE}"))
    raise unreadable(text, rule=say("write a step and volts"), example=ROW_EXAMPLE)


def read_choice(text: str, choices: Mapping[str, str] | Iterable[str]) -> str:
    """Read one of several words; for a mapping, typed word -> meaning, return the meaning.

    Case, hyphens and underscores don't matter.

    Raises
    ------
    AnswerError : none of them.
    """
    meant = dict(choices) if isinstance(choices, Mapping) else {word: word for word in choices}
    known = {_plain(word): found for word, found in meant.items()}
    plain = _plain(text)
    if plain in known:
        return known[plain]
    of_german = next((known[word] for word in GERMAN.get(plain, ()) if word in known), None)
    if of_german is not None:
        return of_german
    words = list(meant)
    near = difflib.get_close_matches(plain, known, n=1)
    listed = f"{', '.join(words[:-1])} or {words[-1]}" if len(words) > 1 else "".join(words)
    raise unreadable(
        text, what="answer here", rule=say("it is {listed}", listed=listed), example=near[0] if near else words[0]
    )


def read_several(text: str, choices: Sequence[str], *, none: Sequence[str] = ("none",)) -> tuple[str, ...]:
    """Read several words separated by commas or semicolons; return each once, in the order of `choices`.

    Parameters
    ----------
    none : words that mean none of them.

    Raises
    ------
    AnswerError : it contains anything else.
    """
    words = [part for part in map(_plain, re.split(r"[,;]", text)) if part]
    if len(words) == 1 and (words[0] in none or words[0] in NONE_IN_GERMAN):
        return ()
    known = {_plain(choice): choice for choice in choices}
    if not words or not set(words) <= set(known):
        rule = f"it is {none[0]}, or some of {', '.join(choices)}"
        raise unreadable(text, what="answer here", rule=rule, example=", ".join(choices[:2]) or none[0])
    return tuple(choice for word, choice in known.items() if word in words)


def _plain(text: str) -> str:
    return " ".join(normalise_text(text).casefold().replace("_", " ").replace("-", " ").split())
