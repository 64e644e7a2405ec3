"""What the person has to listen and measure with, as instruments of a new job."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.errors import CallError, GainwrightError
from gainwright.jobfile.editing import TextDraft, put_key, remove_key
from gainwright.jobfile.forms.pickers import with_unit
from gainwright.jobfile.reading import errors_of
from gainwright.jobfile.starting.devices import UNKNOWN
from gainwright.quantities import decimal
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping

MARK = "lit"
"""Name of the mark of a lamp."""
CONDITIONS = {"level": say("a voltage is exceeded"), "thd": say("distortion is exceeded")}
"""What lights a lamp -> in words."""
_UNITS = {"level": "V", "thd": "%"}
SCOPE = {
    "kind": "multimeter",
    "true_rms": "yes",
    "accuracy": "3 %",
    "counts": 250,
    "bandwidth": "100 kHz",
    "input_impedance": "1 Mohm",
}
"""A scope read as a voltmeter: eight bits, 3 % of the range, 1 Mohm (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class AtHand:
    """An instrument to tick.

    Attributes
    ----------
    key : in the file.
    """

    key: str
    title: str
    about: str


AT_HAND = (
    AtHand("meter", say("Multimeter"), say("on AC volts; its leads in V and COM, never in the socket for amps")),
    AtHand(
        "scope",
        say("Oscilloscope"),
        say("read as a voltmeter; its ground clip must not touch an output of a bridged amplifier"),
    ),
    AtHand("recorder", say("Recorder"), say("an audio interface, with a divider before its input at speaker outputs")),
    AtHand("lamp", say("Lamp"), say("anything that shows only yes or no")),
)


def ticked(text: str) -> dict[str, dict[str, Any]]:
    """Return the instruments of a text by key. JobError: it isn't YAML."""
    held = TextDraft(text).plain.get("instruments")
    return {k: dict(v) for k, v in held.items() if isinstance(v, dict)} if isinstance(held, dict) else {}


def shown_at_hand(text: str) -> dict[str, str]:
    """Return what the fields of the page show of a text. JobError: it isn't YAML."""
    held = ticked(text)
    shown = {f"have:{a.key}": "yes" for a in AT_HAND if a.key in held}
    true_rms = held.get("meter", {}).get("true_rms", UNKNOWN)
    shown["meter:true_rms"] = {True: "yes", False: "no"}.get(true_rms, str(true_rms))
    full_scale = str(held.get("recorder", {}).get("full_scale", ""))
    shown["recorder:full_scale"] = "" if full_scale == UNKNOWN else full_scale.removesuffix(" V")
    marks = held.get("lamp", {}).get("marks") or {}
    of, _, threshold = str(next(iter(marks.values()), "level over ")).partition(" over ")
    shown["lamp:of"], shown["lamp:over"] = of, threshold.removesuffix(_UNITS.get(of, "")).strip()
    return shown


def with_at_hand(text: str, given: Mapping[str, str]) -> tuple[str, dict[str, GainwrightError]]:
    """Return a text with the instruments that were ticked, and what is wrong, by field. JobError: the text isn't YAML.

    Instruments with other keys stay as they are.
    """
    draft = TextDraft(text)
    wrong: dict[str, GainwrightError] = {}
    for instrument in AT_HAND:
        path = ("instruments", instrument.key)
        if f"have:{instrument.key}" not in given:
            if draft.at(path) is not None:
                remove_key(draft, path)
            continue
        try:
            wanted = _instrument(instrument.key, given)
        except GainwrightError as refused:
            wrong[refused.where] = refused
            continue
        for key, value in wanted.items():
            if draft.at(path) is None:
                put_key(draft, path, wanted)
            if value is None:
                remove_key(draft, (*path, key))
            elif draft.at((*path, key)) is None or key not in SCOPE or instrument.key != "scope":
                put_key(draft, (*path, key), value)
    if draft.plain.get("instruments") == {}:
        draft.unset(("instruments",))
    done = draft.checked()
    fields = {"instruments.recorder.full_scale": "recorder:full_scale", "instruments.lamp.marks": "lamp:over"}
    for error in errors_of(done):
        place = error.where.rpartition(" ")[2]
        field = next((name for key, name in fields.items() if place.startswith(key)), "")
        if field:
            wrong.setdefault(field, error)
    return done, wrong


def _instrument(key: str, given: Mapping[str, str]) -> dict[str, Any]:
    """Return the keys of a ticked instrument. CallError: a figure is missing; `where` is its field."""
    if key == "meter":
        said = given.get("meter:true_rms", UNKNOWN)
        return {"kind": "multimeter"} | ({"true_rms": said} if said in ("yes", "no") else {})
    if key == "scope":
        return dict(SCOPE)
    if key == "recorder":
        typed = given.get("recorder:full_scale", "").strip()
        if not typed and "recorder:full_scale:unknown" not in given:
            raise _empty("recorder:full_scale", say("write the figure, or tick unknown"))
        return {"kind": "recorder", "full_scale": with_unit(typed, "V") if typed else UNKNOWN}
    of, typed = given.get("lamp:of", "level"), given.get("lamp:over", "").strip()
    if not typed:
        raise _empty(
            "lamp:over", say("measure at which figure it lights, or leave the lamp out: without it, it tells nothing")
        )
    if of not in _UNITS:
        raise CallError(
            say("it isn't said what lights the lamp"), code="bad_request", where="lamp:of", remedy=say("choose one")
        )
    over = with_unit(typed, _UNITS[of]) if decimal(typed) is not None else typed
    return {"kind": "indicator", "marks": {MARK: f"{of} over {over}"}}


def _empty(where: str, remedy: str) -> CallError:
    return CallError(say("it is empty"), code="no_quantity", where=where, remedy=remedy)
