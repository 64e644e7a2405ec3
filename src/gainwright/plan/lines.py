"""The numbered lines of a plan: steps that are one piece of work stand in one line; results close the list unnumbered."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING

from gainwright.plan.result import Line
from gainwright.plan.short_form import short_form
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from gainwright.plan.result import Step

GROUPS = {
    "leads": say(
        "Check each lead, the measuring lead first: end to end on each conductor, and open between its conductors."
    ),
    "digital": say("Check each digital lead: plugged in until it seats at both ends, and its input shown as present."),
    "coils": say("Read the resistance of each speaker at the free end of its lead."),
    "taps": say("Put a T-piece into each of these leads: later it is measured there with the lead connected."),
    "gains": say("Turn the gain of each amplifier down for the start."),
    "controls": say("Set these controls for the start; what is moved goes back or is set later."),
    "kept": say("Leave these as they will be used."),
    "processors": say(
        "With the volume at its clean limit, check with each tone that the output is still clean (on a meter: one volume step lower the reading falls by a whole step); if not, lower the level into the stage named until it is."
    ),
    "restore": say("Set each filter back, before any speaker is connected."),
    "proofs": say("Prove each filter with a tone that it must hold back; speakers still off."),
    "sides": say("Read every output with its filters back; speakers still off."),
}
"""What a line of several steps is, by its group."""
SHORT = {
    "leads": say("Leads: end to end, and open between."),
    "digital": say("Digital leads: seated, input present."),
    "coils": say("Speakers' resistance."),
    "taps": say("T-pieces in."),
    "gains": say("Gains down."),
    "controls": say("Controls for the start."),
    "kept": say("Leave as used."),
    "processors": say("Still clean at the clean limit."),
    "restore": say("Filters back."),
    "proofs": say("Filters proved."),
    "sides": say("Every output read."),
}
"""The same in short."""


OTHER_OUTPUTS = say("Then, at the step found, the same at every other output: each must be as clean.")
_FIRST_OUTPUT = re.compile(r"source\..*hz\.[^.]+")
_BY_KIND = {"speaker": "coils", "tap": "taps", "processor": "processors", "restore": "restore"}


def group_of(step: Step) -> str:
    """Return the group that a step belongs to: its own id where it stands alone.

    Steps of one group that follow each other are one line of the sheet.
    """
    kind = step.id.partition(".")[0]
    if kind == "source" and (found := _FIRST_OUTPUT.match(step.id)):
        return found[0]
    if kind == "lead":
        return "leads" if step.expect is not None else "digital"
    if kind == "control":
        return "controls" if step.sets else "kept"
    if step.phase == "verify" and step.expect is not None and step.expect.quantity == "v_rms":
        return "proofs" if step.proves else "sides"
    return _BY_KIND.get(kind, step.id)


def is_result(step: Step) -> bool:
    """Return whether a step asks nothing of a hand but to write a value down."""
    return step.phase == "verify" and step.expect is not None and step.expect.quantity == "step"


def results_last(steps: Iterable[Step]) -> tuple[Step, ...]:
    """Return the steps with those that only write a value down at the end, where everything is off."""
    work, results = [], []
    for step in steps:
        if is_result(step):
            results.append(replace(step, system="off", volume="", speakers_off=(), cautions=()))
        else:
            work.append(step)
    return (*work, *results)


def numbered(steps: Sequence[Step]) -> tuple[Line, ...]:
    """Return the lines of the steps, numbered from 1 in their order, results at the end with the number 0."""
    found = []
    work = [step for step in steps if not is_result(step)]
    for number, (group, members) in enumerate(groupby(work, key=group_of), start=1):
        found.append(_line(number, group, list(members)))
    results = [step for step in steps if is_result(step)]
    return tuple(found + [_line(0, step.id, [step]) for step in results])


def _line(number: int, group: str, members: Sequence[Step]) -> Line:
    first = members[0]
    ids = tuple(step.id for step in members)
    if len(members) == 1:
        return Line(number, group, first.phase, first.do, short_form(first), ids)
    if group not in GROUPS:
        return Line(number, group, first.phase, first.do + say(" ") + OTHER_OUTPUTS, short_form(first), ids)
    if all(step.id.endswith(".gain") for step in members):
        group = "gains"
    return Line(number, group, first.phase, GROUPS[group], SHORT[group], ids)


def labels(lines: Iterable[Line]) -> dict[str, str]:
    """Return step id -> its number on the sheet: `7`, or `7.2` for the second of a line; empty for a result."""
    found = {}
    for line in lines:
        for part, step in enumerate(line.steps, start=1):
            several = len(line.steps) > 1
            found[step] = (f"{line.number}.{part}" if several else f"{line.number}") if line.number else ""
    return found
