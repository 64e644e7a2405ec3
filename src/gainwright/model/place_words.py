"""Places of a chain in words: `left output of the sub amplifier` for `amp_sub.out.left`."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from gainwright.model.chassis import unit_of
from gainwright.model.source_stages import HeadUnit
from gainwright.model.stages import Amplifier, LevelControl, Speaker
from gainwright.texts import Text, say

if TYPE_CHECKING:
    from gainwright.model.job import Job

_AMPLIFIER = ("amp", "amplifier")
_INSTRUMENTS = {
    "meter": say("meter"),
    "interface": say("interface"),
    "scope": say("scope"),
    "recorder": say("recorder"),
    "lamp": say("lamp"),
    "ears": say("ears"),
}
"""Usual keys of instruments, which are what they are called, too; any other is a name of the job's own."""
_FILTER = re.compile(r"(?P<shape>butterworth|bessel|linkwitz-riley) (?P<slope>[0-9]+) at (?P<corner>[^;]+)")

_SOURCE = ("unit", "radio", "player", "receiver", "stereo", "tablet", "phone", "tuner")
_SPEAKER = ("sub", "woofer", "tweeter", "mid", "midbass", "midrange", "horn", "driver", "speaker", "coax")
_OTHER_WORDS = """
    front rear left right centre center head level line signal bass processor converter control knob subwoofer subwoofers mono two four five
    factory high low second third boot trunk door dash seat remote one big small old new
"""
_DEVICE_WORDS = {*_AMPLIFIER, *_SOURCE, *_SPEAKER, *(f"{word}s" for word in _SPEAKER), *_OTHER_WORDS.split()}
"""Words that begin a device's name without being a name themselves."""
_KINDS = {*_AMPLIFIER, *_SOURCE, *_SPEAKER, "subwoofer", "processor", "converter", "control", "knob", "box"}
"""Words for one device: with one of them a name of a person's own takes `the`."""
_ARTICLES = ("the", "a", "an", "my", "our", "his", "her", "their", "your")


def name_words(name: str) -> str:
    """Return a name of the job as people write it, with spaces."""
    return " ".join(word for word in name.split("_") if word)


def setting_text(text: str) -> str:
    """Return a setting as a job file writes it, so that it can be translated: `off`, `flat`, `butterworth 24 at 80 Hz`."""
    if text in ("off", "flat"):
        return say(text)
    found = _FILTER.fullmatch(text)
    return say("{shape} {slope} at {corner}", **found.groupdict()) if found else text


def instrument_title(name: str) -> str:
    """Return an instrument's name as it stands in a sentence; the usual ones can be translated."""
    return _INSTRUMENTS.get(name, name_words(name))


def stage_title(job: Job, name: str) -> str:
    """Return a stage as a heading or a list shows it: the name that it was given, else its key with spaces."""
    stage = job.stages.get(name)
    return (stage.name if stage is not None else "") or name_words(name)


def _within_sentence(name: str) -> str:
    """Return a name as it stands within a sentence: a device word that begins it loses its capital, other names keep theirs."""
    first, blank, rest = name.partition(" ")
    return f"{first.lower()}{blank}{rest}" if first.istitle() and first.lower() in _DEVICE_WORDS else name


def _takes_article(name: str) -> bool:
    """Return whether `the` stands before a given name: one that says what a single device is, not `Doors` or `Channels 1 and 2`."""
    words = [word.lower() for word in name.split()]
    if (
        not words
        or words[0] in _ARTICLES
        or words[0].endswith(("'s", "\u2019s"))
        or len(words[-1]) == 1
        or not words[-1].isalpha()
    ):
        return False
    kinds = [word for word in words if word in _KINDS or word.removesuffix("s") in _KINDS]
    return bool(kinds) and kinds[0] in _KINDS


def device_words(job: Job, name: str) -> str:
    """Return a stage as people speak of it in a sentence: `the sub amplifier` for `amp_sub`; an instrument by its name.

    A stage with a `name` of its own is called by that: `the amp under the seat`, `Doors`, `Channels 3 and 4`.
    """
    stage = job.stages.get(name)
    if stage is not None and stage.name:
        own = _within_sentence(stage.name)
        return say("the {name}", name=own) if _takes_article(stage.name) else own
    return _words_of_key(job, name)


def _words_of_key(job: Job, name: str) -> str:
    stage = job.stages.get(name)
    words = name_words(name).split(" ")
    if isinstance(stage, Amplifier):
        own = " ".join(word for word in words if word.lower() not in _AMPLIFIER)
        if len(own) <= 2:
            return say("amplifier {name}", name=own) if own else say("the amplifier")
        return say("the {name} amplifier", name=own)
    if stage is None:
        return _no_stage(job, name)
    if isinstance(stage, HeadUnit) and words[-1].lower() not in _SOURCE:
        return say("the head unit") if words == ["head"] else say("the {name} unit", name=" ".join(words))
    if isinstance(stage, Speaker) and not {w.lower().rstrip("s") for w in words}.intersection(_SPEAKER):
        return say("the {name} speaker", name=" ".join(words))
    return say("the {name}", name=" ".join(words))


def _no_stage(job: Job, name: str) -> str:
    """Return a chassis or an instrument in words."""
    if name in {unit_of(job, n) for n, s in job.stages.items() if isinstance(s, Amplifier)}:
        return say("the chassis {name}", name=name_words(name))
    return _INSTRUMENTS.get(name, name_words(name))


_CONTROLS = {
    "gain": say("gain of {device}"),
    "volume": say("volume of {device}"),
    "levelling": say("volume levelling of {device}"),
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


_CHECKED = {
    "power_lamp": say("power lamp of {device}"),
    "protection_lamp": say("protection lamp of {device}"),
    "supply_voltage": say("supply voltage of {device}"),
    "turn_on_voltage": say("turn-on voltage of {device}"),
    "cone": say("cone of {device}"),
    "player": say("player settings of {device}"),
    "balance": say("balance of {device}"),
    "settings": say("settings of {device}"),
    "routing": say("routing of {device}"),
    "inputs": say("input leads of {device}"),
    "link": say("digital link of {device}"),
    "function": say("function of {device}"),
    "fuse": say("fuse of {device}"),
    "ground": say("ground of {device}"),
    "leads": say("leads of {device}"),
    "heat": say("heat of {device}"),
    "unplugged": say("signal leads of {device}"),
    "unloaded": say("speaker leads of {device}"),
    "other_source": say("another source on {device}"),
    "substitute": say("another speaker in place of {device}"),
    "sounds": say("sound of {device}"),
    "provoked": say("what brings the fault of {device}"),
    "travel": say("travel of {device}"),
    "moved": say("moving of {device}"),
    "one_side_reversed": say("polarity of one side of {device}"),
    "switch": say("output switch of {device}"),
    "input_mode": say("input mode of {device}"),
}
_SIDES = ("left", "right", "mono")


def place_words(job: Job, place: str) -> str:
    """Return a place as a plan's step names it, in words; empty for an empty place.

    Parameters
    ----------
    place : a node (`desk.woofer.left`), a lead (`lead:head.front-desk`), or a stage's supply, resistance or control.
    """
    if not place:
        return ""
    if place.startswith("lead:"):
        return _lead(job, place)
    return _at_stage(job, place)


def the_place(job: Job, place: str) -> str:
    """Return any place of a job as it stands in a sentence, with its article in English; `the chain` for an empty one.

    Parameters
    ----------
    place : as for `place_words`, or what a check looks at (`amp_sub.power_lamp`), a control, or an instrument.
    """
    if not place:
        return say("the chain")
    stage, _, rest = place.partition(".")
    words = checked_words(job, place)
    if not place.startswith("lead:") and (not rest or words == device_words(job, stage)):
        called = stage in job.stages or (isinstance(words, Text) and stage not in _INSTRUMENTS)
        return words if called else say("the {name}", name=words)
    return say("the {place}", place=words)


def checked_words(job: Job, place: str) -> str:
    """Return what a check looks at in words: `power lamp of the sub amplifier` for `amp_sub.power_lamp`."""
    before, _, last = place.rpartition(".")
    if last == "main_fuse":
        return say("fuse at the battery")
    if place.startswith("lead:") and last != "moved":
        return _lead(job, place)
    if last in _CHECKED and before:
        device = the_place(job, before.removesuffix(".out"))
        return say(_CHECKED[last], device=device)
    if before and is_control(place):
        return control_words(job, place)
    if last == "resistance":
        return say("resistance of {device}", device=_speaker(job, before))
    return _at_stage(job, place)


def _speaker(job: Job, place: str) -> str:
    """Return a speaker, or one side of it, in a sentence."""
    stage, _, side = place.partition(".")
    device = device_words(job, stage)
    return say("{device} on the {side}", device=device, side=say(side)) if side in ("left", "right") else device


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
    if isinstance(job.stages.get(stage), Speaker):
        return _speaker(job, place.replace(".in.", "."))
    return _output(job, place) if stage in job.stages else device


def _lead(job: Job, lead: str) -> str:
    """Return a lead as `lead from ... to ...`; one side of a pair as `left lead from ... to ...`."""
    source, _, target = lead.removeprefix("lead:").partition("-")
    (start, left), (end, right) = _without_side(source), _without_side(target)
    if left and right and left != right:
        return say("lead from {source} to {target}", source=_of(job, source), target=_input(job, target))
    side = left or right
    parts = {"source": _of(job, start), "target": _input(job, end)}
    if side:
        return say("{side} lead from {source} to {target}", side=say(side), **parts)
    return say("lead from {source} to {target}", **parts)


def _without_side(end: str) -> tuple[str, str]:
    """Return an end of a lead without its side, and the side where it is left or right."""
    before, _, last = end.rpartition(".")
    if not before or last not in _SIDES:
        return end, ""
    return before, last if last != "mono" else ""


def _input(job: Job, place: str) -> str:
    """Return the end of a lead at its target: a stage, or one of its inputs or sides."""
    stage, _, rest = place.partition(".")
    device = device_words(job, stage)
    if isinstance(job.stages.get(stage), Speaker):
        return _speaker(job, place)
    parts = [say(part) if part in ("left", "right") else name_words(part) for part in rest.split(".") if part != "in"]
    parts = [part for part in parts if part and part != "mono"]
    if not parts:
        return device
    if len(parts) == 1:
        return say("the {name} input of {device}", name=parts[0], device=device)
    return say("the {side} {name} input of {device}", name=parts[0], side=parts[1], device=device)


def lead_words(job: Job, lead: str) -> str:
    """Return a lead as a row of a table names it: `head front - amp sub` for `lead:head.front-amp_sub`."""
    source, _, target = lead.removeprefix("lead:").partition("-")
    return f"{node_title(job, source)} - {node_title(job, target)}"


def node_title(job: Job, node: str) -> str:
    """Return a node as a label of a drawing or a row of a table names it: `head front` for `head.front.left`."""
    stage, *rest = node.split(".")
    return " ".join(
        [stage_title(job, stage), *(name_words(part) for part in rest if part not in ("out", "in", *_SIDES))]
    )


def _of(job: Job, place: str) -> str:
    """Return an output or a stage as it stands in a sentence."""
    return say("the {place}", place=_output(job, place)) if "." in place else device_words(job, place)


def _output(job: Job, place: str) -> str:
    """Return an output or input, with its side if it has one."""
    stage, *rest = place.split(".")
    device = device_words(job, stage)
    named = [part for part in rest if part not in ("out", *_SIDES)]
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
