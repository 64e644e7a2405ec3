"""Places of a chain in words: `left output of the sub amplifier` for `amp_sub.out.left`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model import Amplifier, HeadUnit, LevelControl, Speaker, unit_of
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.model import Job

_AMPLIFIER = ("amp", "amplifier")


_SOURCE = ("unit", "radio", "player", "receiver", "stereo", "tablet", "phone", "tuner")
_SPEAKER = ("sub", "woofer", "tweeter", "mid", "midbass", "midrange", "horn", "driver", "speaker", "coax")
_OTHER_WORDS = """
    front rear left right centre center head level line signal bass processor converter control knob subwoofer subwoofers mono two four five
    factory high low second third boot trunk door dash seat remote one big small old new
"""
_DEVICE_WORDS = {*_AMPLIFIER, *_SOURCE, *_SPEAKER, *(f"{word}s" for word in _SPEAKER), *_OTHER_WORDS.split()}
"""Words that begin a device's name without being a name themselves."""


def name_words(name: str) -> str:
    """Return a name of the job as people write it, with spaces."""
    return " ".join(word for word in name.split("_") if word)


def stage_title(job: Job, name: str) -> str:
    """Return a stage as a heading or a list shows it: the name that it was given, else its key with spaces."""
    stage = job.stages.get(name)
    return (stage.name if stage is not None else "") or name_words(name)


def _within_sentence(name: str) -> str:
    """Return a name as it stands within a sentence: a device word that begins it loses its capital, other names keep theirs."""
    first, blank, rest = name.partition(" ")
    return f"{first.lower()}{blank}{rest}" if first.istitle() and first.lower() in _DEVICE_WORDS else name


def device_words(job: Job, name: str) -> str:
    """Return a stage as people speak of it in a sentence: `the sub amplifier` for `amp_sub`; an instrument by its name.

    A stage with a `name` of its own is called by that: `the amp under the seat`.
    """
    stage = job.stages.get(name)
    if stage is not None and stage.name:
        return say("the {name}", name=_within_sentence(stage.name))
    return _words_of_key(job, name)


def _words_of_key(job: Job, name: str) -> str:
    stage = job.stages.get(name)
    words = name_words(name).split(" ")
    if isinstance(stage, Amplifier):
        own = " ".join(word for word in words if word.lower() not in _AMPLIFIER)
        if len(own) <= 2:
            return say("amplifier {name}", name=own) if own else say("the amplifier")
        return say("the {name} amplifier", name=own)
    if isinstance(stage, HeadUnit) and words[-1].lower() not in _SOURCE:
        return say("the {name} unit", name=" ".join(words))
    if isinstance(stage, Speaker) and not {w.lower().rstrip("s") for w in words}.intersection(_SPEAKER):
        return say("the {name} speaker", name=" ".join(words))
    if stage is None and name in {unit_of(job, n) for n, s in job.stages.items() if isinstance(s, Amplifier)}:
        return say("the chassis {name}", name=" ".join(words))
    return say("the {name}", name=" ".join(words)) if stage is not None else " ".join(words)


_CONTROLS = {
    "gain": say("gain of {device}"),
    "volume": say("volume of {device}"),
    "low_pass": say("low-pass of {device}"),
    "high_pass": say("high-pass of {device}"),
    "tone": say("tone controls of {device}"),
    "equaliser": say("equaliser of {device}"),
    "boost": say("boost of {device}"),
    "level": say("level of {device}"),
    "delay": say("delay of {device}"),
    "polarity": say("polarity of {device}"),
    "mute": say("mute of {device}"),
    "input_range": say("input range switch of {device}"),
    "remote_level": say("remote level control of {device}"),
}


def is_control(name: str) -> bool:
    """Return whether a name ends as a control's does."""
    return name.rpartition(".")[2] in _CONTROLS


def control_words(job: Job, control: str) -> str:
    """Return a control in words: `low-pass of the sub amplifier` for `amp_sub.low_pass`."""
    place, _, last = control.rpartition(".")
    if last not in _CONTROLS:
        return name_words(control)
    if last == "level" and isinstance(job.stages.get(place), LevelControl):
        return device_words(job, place)
    device = _output(job, place)
    return say(_CONTROLS[last], device=device if place in job.stages else say("the {place}", place=device))


def place_words(job: Job, place: str) -> str:
    """Return a place as a plan's step names it, in words; empty for an empty place.

    Parameters
    ----------
    place : a node (`desk.woofer.left`), a lead (`lead:head.front-desk`), or a stage's supply, resistance or control.
    """
    if not place:
        return ""
    if place.startswith("lead:"):
        source, _, target = place.removeprefix("lead:").partition("-")
        return say("lead from {source} to {target}", source=_of(job, source), target=_of(job, target))
    return _at_stage(job, place)


def _at_stage(job: Job, place: str) -> str:
    if "-" in place:
        first, _, second = place.partition("-")
        return say("between {first} and {second}", first=_of(job, first), second=_of(job, second))
    stage, _, rest = place.partition(".")
    device = device_words(job, stage)
    if rest == "supply_voltage":
        return say("supply terminals of {device}", device=device)
    if rest.endswith("resistance"):
        return say("lead of {device}", device=device)
    if rest == "volume":
        return control_words(job, place)
    return _output(job, place) if stage in job.stages else device


def lead_words(lead: str) -> str:
    """Return a lead as a row of a table names it: `head front - amp sub` for `lead:head.front-amp_sub`."""
    source, _, target = lead.removeprefix("lead:").partition("-")
    ends = [[name_words(part) for part in end.split(".") if part != "out"] for end in (source, target)]
    return " - ".join(" ".join(end) for end in ends)


def _of(job: Job, place: str) -> str:
    """Return an output or a stage as it stands in a sentence."""
    return say("the {place}", place=_output(job, place)) if "." in place else device_words(job, place)


def _output(job: Job, place: str) -> str:
    """Return an output or input, with its side if it has one."""
    stage, *rest = place.split(".")
    device = device_words(job, stage)
    named = [part for part in rest if part not in ("out", "left", "right", "mono")]
    side = next((part for part in rest if part in ("left", "right")), "")
    if named and side:
        return say(
            "{side} {name} output of {device}", side=say(side), name=" ".join(named[0].split("_")), device=device
        )
    if named:
        return say("{name} output of {device}", name=" ".join(named[0].split("_")), device=device)
    if side:
        return say("{side} output of {device}", side=say(side), device=device)
    return say("output of {device}", device=device) if rest else device
