"""What is wrong with the supply of a job, each with a remedy that is computed again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model import BATTERY, HeadUnit, name_words
from gainwright.power.cable_findings import drop_findings, wire_findings
from gainwright.power.fuse_findings import fuse_findings
from gainwright.power.result import PowerFinding
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.power.cable_remedies import Evaluated


def supply_findings(found: Evaluated) -> Iterator[PowerFinding]:
    """Yield what is wrong with the supply, battery first, then each cable on the way out."""
    yield from _battery(found)
    for branch in found.states.tree.branches:
        cable = found.cable(branch.name)
        yield from fuse_findings(found, cable)
        yield from wire_findings(found, cable)
    yield from drop_findings(found)
    loose = [n for n in found.states.tree.loose if not isinstance(found.job.stages.get(n), HeadUnit)]
    if loose and found.job.supply:
        names = joined([name_words(n) for n in loose])
        yield PowerFinding(
            "note",
            "no_cable_given",
            loose[0],
            say("no cable is given to {names}: computed as if at the battery's terminals", names=names),
            say("Give the cable that feeds it, with its fuse."),
        )


def _battery(found: Evaluated) -> Iterator[PowerFinding]:
    states, source = found.states, found.states.source
    for state in ("music", "worst_second", "full_sine"):
        if states.collapses(state):
            yield PowerFinding(
                "caution",
                "supply_collapses",
                BATTERY,
                {
                    "music": say("the cables can't carry the music at all: the voltage collapses"),
                    "worst_second": say("in the worst second of the music the voltage collapses"),
                    "full_sine": say("with every amplifier at full power the voltage would collapse"),
                }[state],
                say("Thicker and shorter cables, there and back."),
            )
            return
    other = source.other_a
    for state, severity in (("music", "caution"), ("worst_second", "note")):
        needed = states.drawn_a[state] + other  # type: ignore[index]
        if needed <= source.alternator_a:
            continue
        yield PowerFinding(
            severity,  # type: ignore[arg-type]
            "alternator_small",
            "vehicle.alternator",
            say(
                "the music takes {drawn} A on average and the vehicle {other} A; the alternator gives {given} A, so the battery runs down",
                drawn=f"{states.drawn_a['music']:.0f}",
                other=f"{other:.0f}",
                given=f"{source.alternator_a:.0f}",
            )
            if state == "music"
            else say(
                "in its worst second the music takes {drawn} A and the vehicle {other} A, the alternator gives {given} A: the battery gives the rest, and the voltage falls to {volts} V",
                drawn=f"{states.drawn_a['worst_second']:.0f}",
                other=f"{other:.0f}",
                given=f"{source.alternator_a:.0f}",
                volts=f"{states.battery_v['worst_second']:.1f}",
            ),
            say("A larger alternator, or less level; a second battery only lengthens the time."),
        )
        return
