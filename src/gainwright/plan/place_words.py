"""Places of a chain in words: `left output of the sub amplifier` for `amp_sub.out.left`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model import Amplifier
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.model import Job

_AMPLIFIER = ("amp", "amplifier")


def device_words(job: Job, name: str) -> str:
    """Return the name of a stage or instrument as people write it."""
    words = [word for word in name.split("_") if word]
    if not isinstance(job.stages.get(name), Amplifier):
        return " ".join(words)
    own = " ".join(word for word in words if word.lower() not in _AMPLIFIER)
    if not own:
        return say("the amplifier")
    return say("amplifier {name}", name=own) if len(own) < 3 else say("the {name} amplifier", name=own)


def place_words(job: Job, place: str) -> str:
    """Return a place as a plan's step names it, in words; empty for an empty place.

    Parameters
    ----------
    place : a node (`desk.woofer.left`), a lead (`lead:head.front-desk`), or a stage's supply, resistance or control.
    """
    if place.startswith("lead:"):
        source, _, target = place.removeprefix("lead:").partition("-")
        return say("lead from {source} to {target}", source=_output(job, source), target=_output(job, target))
    if "-" in place:
        first, _, second = place.partition("-")
        return say("between {first} and {second}", first=_output(job, first), second=_output(job, second))
    stage, _, rest = place.partition(".")
    device = device_words(job, stage)
    if rest == "supply_voltage":
        return say("supply terminals of {device}", device=device)
    if rest.endswith("resistance"):
        return say("lead of {device}", device=device)
    if rest == "volume":
        return say("volume of {device}", device=device)
    return _output(job, place) if stage in job.stages else device


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
