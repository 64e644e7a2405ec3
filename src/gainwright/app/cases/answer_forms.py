"""The form in which a test is answered on a page: choices, text fields, and the entry that they make."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.app.cases.answers import indicator_marks, with_result
from gainwright.app.cases.case_places import named_place
from gainwright.errors import CallError
from gainwright.quantities import decimal, normalise_text
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import Job

HEARD = {
    "silent": say("silent"),
    "faint": say("faint"),
    "normal": say("normal"),
    "distorted": say("distorted"),
    "hum": say("hum"),
    "whine": say("whine"),
}
MOST_TOGETHER = 2
"""Up to this many marks, each combination has a button; of more, several at once are typed."""
MOVED = (
    ("moved", say("the fault moved to the other side")),
    ("stayed", say("the fault stayed")),
    ("none", say("both sides sound alike")),
)
RIGHT_OR_WRONG = (("right", say("set correctly")), ("wrong", say("set wrongly")))
_NUMBERED = {
    "volume": ("", "24"),
    "gain": ("%", "30"),
    "level": ("dB", "-6"),
    "at": ("dB", "-6"),
    "remote_level": ("dB", "-6"),
}
"""Controls with a numeric setting -> its unit, an example."""


@dataclass(frozen=True, slots=True)
class TextField:
    """A text field: its label, the unit assumed when none is typed, an example."""

    label: str
    unit: str
    example: str


@dataclass(frozen=True, slots=True)
class AnswerForm:
    """How a test can be answered.

    Attributes
    ----------
    choices : the value that is sent, and the words on its button.
    text, second : fields, None when there is none.
    """

    choices: tuple[tuple[str, str], ...] = ()
    text: TextField | None = None
    second: TextField | None = None


_LAMP = AnswerForm((("on", say("on")), ("off", say("off"))))
_DC = AnswerForm((), TextField(say("DC volts read"), "V", "13.6"))
_CHECKED = {
    "power_lamp": _LAMP,
    "protection_lamp": _LAMP,
    "supply_voltage": _DC,
    "turn_on_voltage": _DC,
    "cone": AnswerForm((("out", say("out")), ("in", say("in")), ("still", say("still")))),
    "resistance": AnswerForm((("open", say("open")),), TextField(say("Ohms read"), "ohm", "3.4")),
}


def answer_form(entry: Mapping[str, Any], job: Job) -> AnswerForm:
    """Return how an entry without its result can be answered."""
    if "heard" in entry:
        return AnswerForm(tuple(HEARD.items()))
    if "swap" in entry:
        return AnswerForm(MOVED)
    if "at" in entry:
        return _of_reading(entry, job)
    return _of_check(str(entry.get("check", "")), job)


def _of_reading(entry: Mapping[str, Any], job: Job) -> AnswerForm:
    from gainwright.jobfile import instruments
    from gainwright.model import Indicator

    instrument = instruments(job).get(str(entry.get("with", "")))
    if isinstance(instrument, Indicator):
        return _of_marks(list(instrument.marks))
    kind = "" if instrument is None else instrument.kind
    volts = TextField(say("Volts read"), "V", say("0.35 or 350 mV"))
    distortion = None if kind == "multimeter" else TextField(say("Distortion, if it is known"), "%", "0.4")
    return AnswerForm((("over range", say("over range")),), volts, distortion)


def _of_marks(marks: list[str]) -> AnswerForm:
    """Return buttons for no mark, each mark and, of two, both; of more, a text field for several at once."""
    from gainwright.model import NO_MARK

    choices = [(NO_MARK, say("no mark is lit")), *((mark, mark) for mark in marks)]
    if len(marks) == MOST_TOGETHER:
        choices.append((", ".join(marks), say("{a} and {b}", a=marks[0], b=marks[1])))
    several = TextField(say("Several that are lit"), "", ", ".join(marks[:2])) if len(marks) > MOST_TOGETHER else None
    return AnswerForm(tuple(choices), several)


def _of_check(place: str, job: Job) -> AnswerForm:
    from gainwright.diagnose import unknown_gains
    from gainwright.jobfile import instruments
    from gainwright.model import WORD_TEXTS, WORDED, LineDriver, leads_by_name, resolve

    what = place.rpartition(".")[2]
    if what in WORDED:
        return AnswerForm(tuple((word, WORD_TEXTS[word]) for word in WORDED[what]))
    if place in instruments(job) or place in leads_by_name(resolve(job)):
        end = TextField(say("End to end"), "ohm", say("0.3 or open"))
        return AnswerForm(
            (("good", say("both good")),), end, TextField(say("Between the conductors"), "ohm", say("open or 0.2"))
        )
    if what in _CHECKED:
        return _CHECKED[what]
    if place in unknown_gains(job):
        return AnswerForm((), TextField(say("Setting"), *_NUMBERED["gain"]))
    driver = isinstance(job.stages.get(place.split(".", maxsplit=1)[0]), LineDriver)
    return AnswerForm(
        RIGHT_OR_WRONG, TextField(say("Or its setting"), *_NUMBERED[what]) if what in _NUMBERED and not driver else None
    )


def entry_from_form(fields: Mapping[str, str], job: Job) -> dict[str, Any]:
    """Return the entry of an unprompted observation, from the fields of a form.

    Parameters
    ----------
    fields : `kind` (at, check, heard, swap), `place`, `with`, `tone`, `level`, `text`, `second`; empty ones are left out.

    Raises
    ------
    CallError : an unknown kind, or no answer.
    """
    kind = fields.get("kind", "")
    if kind not in ("at", "check", "heard", "swap"):
        raise CallError(say("the kind of observation is missing"), code="bad_entry", remedy=say("choose one"))
    entry: dict[str, Any] = {kind: named_place(job, kind, fields.get("place", ""))}
    if kind == "at" and fields.get("with"):
        entry["with"] = fields["with"]
    if kind != "check":
        for key, unit in (("tone", "Hz"), ("level", "dBFS")):
            typed = normalise_text(fields.get(key, ""))
            if typed:
                bare = decimal(typed)
                entry[key] = typed if bare is None else f"{bare} {unit}"
    return with_result(entry, fields.get("text", ""), fields.get("second", ""), marks=indicator_marks(entry, job))
