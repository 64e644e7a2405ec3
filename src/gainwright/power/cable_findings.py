"""What is wrong with the wires of a supply: too thin for the music, or too long for their size."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model import name_words
from gainwright.power.cable_remedies import as_words, gauge_text, thicker
from gainwright.power.cables import GAUGES, gauge_of
from gainwright.power.result import PowerFinding
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.power.cable_remedies import Evaluated
    from gainwright.power.result import CableResult

DROP_V = 0.5
"""Largest loss of the cables to a device in the worst second (common practice, no published source)."""


def wire_findings(found: Evaluated, cable: CableResult) -> Iterator[PowerFinding]:
    """Yield a wire that is thinner than the music asks for."""
    mean = cable.amps["music"]
    if cable.ampacity_a is None or mean is None or mean <= cable.ampacity_a:
        return
    sets = thicker(found, cable, lambda c: (c.ampacity_a or 0.0) >= (c.amps["music"] or 0.0))
    yield PowerFinding(
        "caution",
        "wire_thin",
        f"supply.{cable.name}",
        say(
            "{name} carries {mean} A on average with this music; its wire may carry {most} A",
            name=name_words(cable.name),
            mean=f"{mean:.0f}",
            most=f"{cable.ampacity_a:.0f}",
        ),
        as_words(sets) or say("Two cables, each with its own fuse, or less level."),
        sets,
    )


def drop_findings(found: Evaluated) -> Iterator[PowerFinding]:
    """Yield the devices whose cables lose too much in the worst second, with the wires that mend it."""
    lost = _losses(found)
    if not lost:
        return
    sets = _less_drop(found)
    listed = joined([say("{volts} V to {name}", volts=f"{v:.2f}", name=name_words(d)) for d, v in lost.items()])
    yield PowerFinding(
        "caution",
        "cable_drop",
        max(lost, key=lambda device: lost[device]),
        say(
            "in the worst second of the music the cables lose, there and back, {listed}; what its supply loses, an unregulated amplifier's ceiling loses",
            listed=listed,
        ),
        as_words(sets) or say("Thicker and shorter cables, and a way back of the same size."),
        sets,
    )


def _losses(found: Evaluated) -> dict[str, float]:
    """Return device -> volts that its cables lose in the worst second, where that is too much."""
    states, lost = found.states, {}
    for branch in states.tree.branches:
        for device in branch.feeds:
            volts = states.battery_v["worst_second"] - states.devices_v[device]["worst_second"]
            if volts > DROP_V:
                lost[device] = volts
    return lost


def _less_drop(found: Evaluated) -> dict[str, str]:
    """Return thicker wires until no cable loses too much, solved again each time; empty if none are enough.

    Each time the cable on the worst device's way that loses most grows by one size of the table.
    """
    sets: dict[str, str] = {}
    now = found
    for _ in range(len(GAUGES) * len(found.states.tree.branches)):
        lost = _losses(now)
        if not lost:
            return {} if now.states.collapses("worst_second") else sets
        device = max(lost, key=lambda d: lost[d])
        way = [now.cable(b.name) for b in now.states.tree.branches if _leads_to(now, b.name, device)]
        growing = [c for c in way if gauge_of(now.job.supply[c.name]) not in (None, GAUGES[-1])]
        if not growing:
            return {}
        worst = max(growing, key=lambda c: c.drop_v["worst_second"] or 0.0)
        gauge = gauge_of(now.job.supply[worst.name])
        assert gauge is not None  # noqa: S101  chosen above
        sets[f"supply.{worst.name}.wire"] = gauge_text(GAUGES[GAUGES.index(gauge) + 1])
        now = found.with_changes(sets)
    return {}


def _leads_to(found: Evaluated, cable: str, device: str) -> bool:
    branches = {b.name: b for b in found.states.tree.branches}
    at = next((b for b in branches.values() if device in b.feeds), None)
    while at is not None:
        if at.name == cable:
            return True
        at = branches.get(at.source)
    return False
