"""A step in one line, for those who know the work."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.texts import say, sentence

if TYPE_CHECKING:
    from gainwright.plan.result import Step

_BY_ID = {
    "prepare.speakers": say("Everything off. Speakers off at the amplifiers, ends covered."),
    "power.on": say("Wiring looked over, charger's clamps on if one is used; system on, engine off."),
    "power.running": say("Engine idling or charger on."),
    "power.off": say("Tone stopped, volume to its lowest step, everything off."),
    "power.again": say("Engine or charger on, then the system; no tone, volume at its lowest step."),
    "power.end": say("Everything off; charger, T-pieces and covers taken off."),
    "verify.speakers": say("Speakers connected again, plus to plus."),
    "verify.polarity": say("Polarity by ear: more bass together than apart."),
    "verify.sound": say("Music, softly, then slowly louder."),
    "lead.measuring": say("Measuring lead: each conductor end to end, and open between."),
}


def short_form(step: Step) -> str:
    """Return a step in one line, without what is expected."""
    if step.id in _BY_ID:
        return _BY_ID[step.id]
    place = step.where_text or step.measure_at
    if step.expect is not None and step.expect.quantity == "supply_v":
        return _supply(step, place)
    if step.tone_hz is not None and step.level_dbfs is not None:
        return _played(step, place)
    if step.id.startswith("source."):
        return say("Volume to the lowest of the steps found; write it down.")
    return _of_place(step, place)


def _of_place(step: Step, place: str) -> str:
    if step.sets:
        return say("{control}: {setting}.", control=sentence(place), setting=step.note or ", ".join(step.sets.values()))
    if step.expect is not None and step.expect.quantity == "step":
        return say("Highest clean {place}.", place=place)
    return say("Resistance, {place}.", place=place) if step.expect is not None else step.do


def _supply(step: Step, place: str) -> str:
    if step.file:
        return say("Supply under load: volts DC, {place}, the loudest tone for a moment.", place=place)
    return say("Supply: volts DC, {place}.", place=place)


def _played(step: Step, place: str) -> str:
    words = {
        "tone": f"{step.tone_hz:g} Hz, {step.level_dbfs:g} dBFS",
        "place": place,
        "name": " ".join(step.instrument.split("_")),
    }
    if step.adjust is not None and step.adjust.until == "last_clean":
        return say("{tone}: volume up to its last clean step; {name} at the {place}.", **words)
    if step.adjust is not None:
        return say("{tone}: gain up to {v_rms} V; {name} at the {place}.", v_rms=f"{step.adjust.target:.3g}", **words)
    if step.proves:
        return say("{tone}: {name} at the {place}; left open {note}.", note=step.note, **words)
    return say("{tone}: {name} at the {place}.", **words)
