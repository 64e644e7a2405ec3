"""The answer to a test, typed or chosen, as an entry of evidence: the same in terminal, page and API."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, get_args

from gainwright.app.cases.plain_words import heard_word, lamp_word, right_or_wrong, swap_word, tried_word
from gainwright.errors import AnswerError, CallError
from gainwright.quantities import (
    normalise_text,
    read_choice,
    read_lead,
    read_measured,
    read_ohms,
    read_position,
    read_several,
    read_step,
    read_volts,
)
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.model import Job

FAULT_AFTER_SWAP = ("moved", "stayed", "none")
LAMPS = ("power_lamp", "protection_lamp")
RIGHT_OR_WRONG = {"right": "right", "wrong": "wrong"}
LOOKED_AT = (
    *("mute", "player", "balance", "settings", "inputs", "function", "routing", "gain", "level", "at", "volume"),
    *("remote_level", "low_pass", "high_pass", "boost", "equaliser", "switch", "input_mode", "leads"),
)
"""What a plain sentence says of as right or wrong; of anything else only these words, or a setting."""
_BOTH_RIGHT = ("good", "right", "ok", "both right")
_DECIBELS = ("ratio", "dB", "-6 dB")
_POSITIONS = {"gain": ("fraction", "%", "30 %"), "level": _DECIBELS, "at": _DECIBELS, "remote_level": _DECIBELS}
"""Last word of a control's name -> the dimension of its setting, its unit, an example."""
_DECIMAL_COMMA = re.compile(r"(?<=[0-9]),(?=[0-9])")


def indicator_marks(entry: Mapping[str, Any], job: Job) -> tuple[str, ...]:
    """Return the marks of the indicator that an entry is read with; empty for another instrument."""
    from gainwright.jobfile import instruments
    from gainwright.model import Indicator

    instrument = instruments(job).get(str(entry.get("with", ""))) if "at" in entry else None
    return tuple(instrument.marks) if isinstance(instrument, Indicator) else ()


def with_result(entry: Mapping[str, Any], text: str, second: str = "", *, marks: Sequence[str] = ()) -> dict[str, Any]:
    """Return an entry with the result that was typed for it.

    Volts and ohms need no unit, nor do per cent of a gain's travel and decibels of a level. Of an indicator the marks that
    are lit are named, or none. Of a lead the ohms end to end come first, those between the conductors second: `0.7 open`.

    Parameters
    ----------
    second : distortion of a voltage, or ohms between the conductors of a lead, if typed in a field of their own.
    marks : of the indicator that an entry is read with, see `indicator_marks`.

    Raises
    ------
    CallError : nothing was typed, or it doesn't answer the entry; the remedy has an example.
    """
    if not normalise_text(text) and not normalise_text(second):
        raise CallError(say("the answer is empty"), code="no_answer", remedy=say("enter the reading, or: don't know"))
    return {**entry, **_result(entry, text, second, marks)}


def _result(entry: Mapping[str, Any], text: str, second: str, marks: Sequence[str]) -> dict[str, Any]:
    from gainwright.model import WORDED
    from gainwright.model.evidence import Heard

    if "heard" in entry:
        return {"is": _chosen(text, get_args(Heard), heard_word(text, playing=entry.get("tone") != "off"))}
    if "swap" in entry:
        return {"fault": _chosen(text, FAULT_AFTER_SWAP, swap_word(text))}
    if "at" in entry:
        return _shown(text, marks) if marks else _volts(text, second)
    place = str(entry.get("check", ""))
    what = place.rpartition(".")[2]
    if what in WORDED:
        return {"is": _worded(text, what, WORDED[what])}
    if place.startswith("lead:") or "." not in place:
        return _lead(text, second)
    return _lamp(place, what, text) if what in LAMPS else _check(what, text)


def _worded(text: str, what: str, words: Sequence[str]) -> str:
    """Return a test's word, typed as it is or as its button says it."""
    from gainwright.model import WORD_TEXTS

    plain = normalise_text(text).lower()
    said = [word for word in words if plain in (word.replace("_", " "), str(WORD_TEXTS[word]).lower())]
    return said[0] if said else _chosen(text, words, tried_word(text, what))


def _chosen(text: str, choices: Sequence[str], said: str) -> str:
    """Return the choice that was typed, or else the one that was said in plain words."""
    try:
        return read_choice(text, choices)
    except AnswerError:
        if said not in choices:
            raise
        return said


def _shown(text: str, marks: Sequence[str]) -> dict[str, Any]:
    from gainwright.model import NO_MARK

    try:
        return {"shows": list(read_several(text, marks, none=(NO_MARK, "nothing"))) or NO_MARK}
    except AnswerError:
        raise CallError(
            say("{text} names no mark", text=repr(text.strip()[:40])),
            code="unknown_mark",
            rule=say("its marks are {marks}", marks=", ".join(marks)),
            remedy=say("write those that are lit with commas between, or {NO_MARK}", NO_MARK=NO_MARK),
        ) from None


def _volts(text: str, second: str) -> dict[str, Any]:
    read = read_volts(text, second="distortion")
    distortion = read_position(second, "fraction") if normalise_text(second) else read.distortion
    return {"reads": str(read.volts), **({"thd": str(distortion)} if distortion is not None else {})}


def _lead(text: str, second: str) -> dict[str, Any]:
    if not normalise_text(second):
        if normalise_text(text).lower() in _BOTH_RIGHT:
            return {"is": "good"}
        read = read_lead(text)
        ohms_by_key = {"resistance": read.end_to_end, "between_conductors": read.between}
    else:
        between = read_lead(second)
        alone = between.end_to_end if between.between is None else between.between
        ohms_by_key = {"resistance": read_ohms(text) if normalise_text(text) else None, "between_conductors": alone}
    return {key: str(ohms) for key, ohms in ohms_by_key.items() if ohms is not None}


def _lamp(place: str, what: str, text: str) -> dict[str, Any]:
    """Return whether a lamp is lit; a power lamp that is red is the protection's, with one light for both."""
    if what == LAMPS[0] and not lamp_word(text) and lamp_word(text, protection=True) == "on":
        return {"check": f"{place.removesuffix(what)}{LAMPS[1]}", "is": "on"}
    return {"is": _chosen(text, ("on", "off"), lamp_word(text, protection=what == LAMPS[1]))}


def _check(what: str, text: str) -> dict[str, Any]:
    if what in ("supply_voltage", "turn_on_voltage"):
        if normalise_text(text).startswith("-"):
            raise AnswerError(
                say("{text} is negative", text=text.strip()[:40]),
                code="bad_reading",
                rule=say("the leads of the meter are swapped, or plus and minus of the supply are"),
                remedy=say(
                    "swap the leads of the meter and read again; if the supply is reversed, switch everything off and have it put right first"
                ),
            )
        return {"reads": str(read_measured(text, "voltage", unit="V", example="13.6"))}
    if what == "resistance":
        return {"reads": str(read_ohms(text))}
    return {"is": _looked_at(what, text)}


def _looked_at(what: str, text: str) -> str:
    """Return what was found of something looked at: right, wrong, or its setting."""
    plain = normalise_text(text)
    said = RIGHT_OR_WRONG.get(plain.lower()) or (right_or_wrong(text, what) if what in LOOKED_AT else "")
    if said:
        return said
    if what in _POSITIONS:
        dimension, unit, example = _POSITIONS[what]
        example = f"{example}, or right or wrong"
        return str(read_measured(text, dimension, unit=unit, example=example, exact=False))
    if what == "volume":
        return f"{read_step(text, example='24, or right or wrong'):g}"
    setting = _DECIMAL_COMMA.sub(".", plain)
    return setting if " " in setting else setting.lower()
