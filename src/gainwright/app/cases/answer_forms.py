"""How a test is answered on a page: words to choose from, fields to type into, and what both become."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.app.cases.dialogue import answered, marks_of
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.model import Job

HEARD = ("silent", "faint", "normal", "distorted", "hum", "whine")
MOST_TOGETHER = 2
"""Up to so many marks every way in which they can be lit has a button; of more they are typed."""
MOVED = (("moved", "it moved to the other side"), ("stayed", "it stayed"), ("none", "both sides are alike"))
STANDS = (("right", "as it should be"), ("wrong", "not as it should be"))
_NUMBERED = {"volume": ("", "24"), "gain": ("%", "30"), "level": ("dB", "-6"), "at": ("dB", "-6")}
"""Controls that stand at a number: its unit, an example."""


@dataclass(frozen=True, slots=True)
class Typed:
    """A field to type into: what it asks, the unit that is meant when none is typed, an example."""

    label: str
    unit: str
    example: str


@dataclass(frozen=True, slots=True)
class Ways:
    """How a test can be answered.

    Attributes
    ----------
    choices : what is sent, and the words on its button.
    text, second : fields, None when there is none.
    """

    choices: tuple[tuple[str, str], ...] = ()
    text: Typed | None = None
    second: Typed | None = None


_LAMP = Ways((("on", "on"), ("off", "off")))
_DC = Ways((), Typed("DC volts read", "V", "13.6"))
_CHECKED = {
    "power_lamp": _LAMP,
    "protection_lamp": _LAMP,
    "supply_voltage": _DC,
    "turn_on_voltage": _DC,
    "cone": Ways((("out", "out"), ("in", "in"), ("still", "still"))),
    "resistance": Ways((("open", "open"),), Typed("Ohms read", "ohm", "3.4")),
}


def ways(entry: Mapping[str, Any], job: Job) -> Ways:
    """Return how an entry without its result can be answered."""
    if "heard" in entry:
        return Ways(tuple((word, word) for word in HEARD))
    if "swap" in entry:
        return Ways(MOVED)
    if "at" in entry:
        return _of_reading(entry, job)
    return _of_check(str(entry.get("check", "")), job)


def _of_reading(entry: Mapping[str, Any], job: Job) -> Ways:
    from gainwright.jobfile import instruments
    from gainwright.model import Indicator

    instrument = instruments(job).get(str(entry.get("with", "")))
    if isinstance(instrument, Indicator):
        return _of_marks(list(instrument.marks))
    kind = "" if instrument is None else instrument.kind
    volts = Typed("Volts read", "V", "0.35 or 350 mV")
    distortion = None if kind == "multimeter" else Typed("Distortion, if it is known", "%", "0.4")
    return Ways((("over range", "over range"),), volts, distortion)


def _of_marks(marks: list[str]) -> Ways:
    """Return a button for no mark, for each alone and, of two, for both; of more a field for several at once."""
    from gainwright.model import NO_MARK

    choices = [(NO_MARK, "no mark is lit"), *((mark, mark) for mark in marks)]
    if len(marks) == MOST_TOGETHER:
        choices.append((", ".join(marks), " and ".join(marks)))
    several = Typed("Several that are lit", "", ", ".join(marks[:2])) if len(marks) > MOST_TOGETHER else None
    return Ways(tuple(choices), several)


def _of_check(place: str, job: Job) -> Ways:
    from gainwright.diagnose import unsaid_gains
    from gainwright.jobfile import instruments
    from gainwright.model import resolve, wires

    what = place.rpartition(".")[2]
    if place in instruments(job) or place in wires(resolve(job)):
        end = Typed("End to end", "ohm", "0.3 or open")
        return Ways((("good", "both right"),), end, Typed("Between the conductors", "ohm", "open or 0.2"))
    if what in _CHECKED:
        return _CHECKED[what]
    if place in unsaid_gains(job):
        return Ways((), Typed("Where it stands", *_NUMBERED["gain"]))
    return Ways(STANDS, Typed("Or where it stands", *_NUMBERED[what]) if what in _NUMBERED else None)


def answer_of(entry: Mapping[str, Any], text: str, second: str = "", *, marks: Sequence[str] = ()) -> dict[str, Any]:
    """Return an entry with what was chosen or typed for it.

    Parameters
    ----------
    marks : of the indicator that an entry is read with, see `marks_of`.
    second : distortion beside volts, or ohms between the conductors beside those end to end.

    Raises
    ------
    CallError : nothing was answered.
    """
    text, second = (" ".join(said.replace(",", ".").split()) for said in (text, second))
    if "at" in entry and second and not marks:
        return answered(entry, f"{text}; {second.removesuffix('%').strip()} %")
    if second or ("check" in entry and text and text != "good" and _is_lead(str(entry["check"]))):
        found = {"resistance": _ohms(text), "between_conductors": _ohms(second)}
        given = {key: said for key, said in found.items() if said}
        if not given:
            raise CallError("nothing was answered", code="no_answer", remedy="type what you read, or don't know")
        return {**entry, **given}
    return answered(entry, text, marks=marks)


def _is_lead(place: str) -> bool:
    return place.startswith("lead:") or "." not in place


def _ohms(text: str) -> str:
    plain = text.lower()
    bare = plain.replace(".", "", 1).isdigit()
    return f"{plain} ohm" if bare else plain if plain == "open" else text


def own_entry(fields: Mapping[str, str], job: Job) -> dict[str, Any]:
    """Return the entry of an observation that nobody asked for, from the fields of a form.

    Parameters
    ----------
    fields : `kind` (at, check, heard, swap), `place`, `with`, `tone`, `level`, `text`, `second`; what is empty isn't said.

    Raises
    ------
    CallError : a kind that there isn't, or nothing was answered.
    """
    kind = fields.get("kind", "")
    if kind not in ("at", "check", "heard", "swap"):
        raise CallError("it says not what kind of observation it is", code="bad_entry", remedy="choose one")
    entry: dict[str, Any] = {kind: fields.get("place", "")}
    if kind == "at" and fields.get("with"):
        entry["with"] = fields["with"]
    if kind != "check":
        for key, unit in (("tone", "Hz"), ("level", "dBFS")):
            said = " ".join(fields.get(key, "").replace(",", ".").split())
            if said:
                entry[key] = f"{said} {unit}" if said.lstrip("+-").replace(".", "", 1).isdigit() else said
    return answer_of(entry, fields.get("text", ""), fields.get("second", ""), marks=marks_of(entry, job))
