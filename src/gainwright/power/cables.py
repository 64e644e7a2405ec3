"""What each cable of a job carries in each state, what it may carry, and what its fuse leaves of it in a short circuit."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright import physics
from gainwright.model import BATTERY
from gainwright.power.result import STATES, CableResult
from gainwright.solve import area_m2

if TYPE_CHECKING:
    from gainwright.model import Job, SupplyCable
    from gainwright.power.result import StateName
    from gainwright.power.supply_states import SupplyStates
    from gainwright.solve import Branch

GAUGES = (18, 16, 14, 12, 10, 8, 6, 4, 3, 2, 1, 0, -1, -2, -3)
"""Sizes of the published table, from thin to thick."""
BUNDLES = ((25, 0.4), (7, 0.5), (4, 0.6), (3, 0.7))
"""From this many cables in one bundle on, each carries this share of its current (ABYC E-11; from memory)."""
SHORT_TO_C = physics.PVC_FINAL_C


def cable_result(job: Job, name: str, states: SupplyStates) -> CableResult:
    """Return one cable with its currents, voltages and limits."""
    cable = job.supply[name]
    branch = next(b for b in states.tree.branches if b.name == name)
    ends = {state: end_voltage(states, name, state) for state in STATES}
    amps: dict[StateName, float | None] = {s: number(states.cables_a[name][s]) for s in STATES}
    area = area_m2(cable.wire)
    short = shorted_a(states, name)
    stands = None
    if area is not None and cable.material == "copper":
        initial = float(cable.insulation)
        stands = float(
            physics.withstands_s(area_m2=area, current_a=short, initial_c=initial, final_c=max(SHORT_TO_C, initial + 1))
        )
    fuse = cable.fuse.nominal if cable.fuse is not None and cable.fuse.known else None
    return CableResult(
        name,
        cable.source,
        branch.feeds,
        "" if cable.wire is None else str(cable.wire),
        fuse,
        branch.ohm,
        amps,
        {s: None if (a := amps[s]) is None else a * branch.ohm for s in STATES},
        ends,
        ampacity_a(cable),
        short if area is not None else None,
        stands,
        None if area is None else _opens_within_s(job, name, short),
    )


def _opens_within_s(job: Job, name: str, short_a: float) -> float | None:
    guard = guard_of(job, name)
    opens = None if guard is None else physics.blade_fuse_opens_s(rating_a=guard, current_a=short_a)
    return None if opens is None or math.isinf(opens[1]) else float(opens[1])


def guard_of(job: Job, name: str) -> float | None:
    """Return the fuse of a cable, or the next one on its way to the battery, amperes; None without any."""
    while name != BATTERY:
        cable = job.supply[name]
        if cable.fuse is not None and cable.fuse.known:
            return float(cable.fuse.nominal)
        name = cable.source
    return None


def number(value: float) -> float | None:
    """Return a value, None in place of NaN."""
    return None if math.isnan(value) else value


def end_voltage(states: SupplyStates, name: str, state: StateName) -> float | None:
    """Return the voltage at the end of a cable."""
    volts = states.battery_v[state]
    for branch in _way(states, name):
        volts -= branch.ohm * states.cables_a[branch.name][state]
    return number(volts)


def shorted_a(states: SupplyStates, name: str) -> float:
    """Return the current of the battery into a short at the end of a cable, amperes; the alternator's is left out."""
    ohm = states.source.battery_ohm + sum(branch.ohm for branch in _way(states, name))
    return float(states.source.battery_v / ohm)


def _way(states: SupplyStates, name: str) -> list[Branch]:
    branches = {b.name: b for b in states.tree.branches}
    way = [branches[name]]
    while way[-1].source != BATTERY:
        way.append(branches[way[-1].source])
    return way[::-1]


def gauge_of(cable: SupplyCable) -> int | None:
    """Return the largest gauge of the table whose copper is no more than a cable's; None without a size or below the table."""
    area = area_m2(cable.wire)
    if area is None:
        return None
    fitting = [g for g in GAUGES if float(physics.awg_area_m2(gauge=g)) <= area * 1.001]
    return fitting[-1] if fitting else None


def ampacity_a(cable: SupplyCable) -> float | None:
    """Return what a copper cable may carry after 33 CFR 183.425 (boats), amperes; None where that has no figure.

    An area between two gauges counts as the thinner one. In engine spaces the table has a factor for insulation of 105
    degrees C only; in a bundle see BUNDLES.
    """
    gauge = gauge_of(cable)
    if gauge is None or cable.material != "copper" or (cable.engine_space and cable.insulation != "105"):
        return None
    amps = physics.boat_ampacity_a(gauge=gauge, insulation_c=int(cable.insulation), engine_space=cable.engine_space)
    return amps * next((share for number, share in BUNDLES if cable.bundled >= number), 1.0)
