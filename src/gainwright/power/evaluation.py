"""The power and heat of a job, for the music that was scanned or for a stated share of full power."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.model import DC_VOLTS, METAL, SUPPLY_REPAIR, Speaker, resolve, stages_of
from gainwright.plan import MAKER_FIRST, amplifier_loads, head_unit_loads
from gainwright.power.cable_remedies import Evaluated
from gainwright.power.cables import cable_result, number
from gainwright.power.devices import following
from gainwright.power.programmes import programme
from gainwright.power.result import STATES, BatteryResult, DeviceResult, PowerResult
from gainwright.power.speaker_findings import speaker_findings
from gainwright.power.speakers import speaker_result
from gainwright.power.supply_findings import supply_findings
from gainwright.power.supply_states import supply_states
from gainwright.solve import impedance_curves
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import Job
    from gainwright.power.result import StateName
    from gainwright.power.supply_states import SupplyStates
    from gainwright.programme.music_result import MusicResult

USABLE = {"starting": 0.3, "deep_cycle": 0.5, "lithium": 0.8}
"""Share of its capacity that a battery gives and still starts the engine, or isn't harmed (common practice, no published source)."""
CAUTIONS = (
    MAKER_FIRST,
    SUPPLY_REPAIR,
    DC_VOLTS,
    METAL,
    say("The main fuse sits as near to the battery as can be; a cable before it burns."),
)


def evaluate_power(
    job: Job, music: MusicResult | None = None, *, reached: Mapping[str, float] | None = None
) -> PowerResult:
    """Return what tone and music do to supply and speakers of a job.

    Parameters
    ----------
    music : the scan of the music with this job's bands; without one a programme of one eighth of full power is taken.
    reached : stage -> volts that its set-up reached, as a share of its target.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    loads = {load.stage: load for load in amplifier_loads(job, reached)} | head_unit_loads(job)
    programmes = {name: programme(load, music) for name, load in loads.items()}
    states = supply_states(job, loads, programmes)
    curves = impedance_curves(job, resolve(job))
    fed = {n: load for load in reversed(loads.values()) for n in load.speakers if isinstance(job.stages[n], Speaker)}
    judged = {} if music is None else {s.speaker: s for s in music.speakers}
    speakers = tuple(
        speaker_result(job, name, load, programmes[by], curves[name], judged.get(name))
        for by, load in loads.items()
        for name in load.speakers
        if fed.get(name) is load
    )
    found = [*supply_findings(Evaluated(job, loads, programmes, states)), *speaker_findings(job, speakers)]
    scanned = music is not None and any(load.band.key in music.distribution for load in loads.values())
    return PowerResult(
        job.title,
        "scan" if scanned else "assumed",
        say("Computed for the music that was scanned, at the job's allowances.")
        if scanned
        else say(
            "No music was scanned: computed for one eighth of the target's power on average (16 CFR 432.3) and one third in the worst second (common practice, no published source)."
        ),
        _battery(job, states),
        tuple(cable_result(job, branch.name, states) for branch in states.tree.branches),
        tuple(_device(job, unit, states) for unit in states.tree.devices),
        speakers,
        tuple(sorted(found, key=lambda f: f.severity != "caution")),
        CAUTIONS,
    )


def _battery(job: Job, states: SupplyStates) -> BatteryResult:
    source, battery = states.source, job.vehicle.battery
    carries: dict[StateName, bool | None] = {
        s: None if math.isinf(source.alternator_a) else states.drawn_a[s] + source.other_a <= source.alternator_a
        for s in STATES
    }
    hours = None
    mean = states.drawn_a["music"]
    if battery.capacity is not None and battery.capacity.known and mean > 0:
        # at rest the devices take the same power from less voltage
        resting = mean * source.running_v / source.battery_v
        hours = USABLE[battery.kind] * battery.capacity.nominal / resting
    return BatteryResult(
        {s: number(states.battery_v[s]) for s in STATES}, {s: number(states.drawn_a[s]) for s in STATES}, carries, hours
    )


def _device(job: Job, unit: str, states: SupplyStates) -> DeviceResult:
    volts = states.devices_v[unit]
    follows = bool(following(job, unit))
    return DeviceResult(
        unit,
        stages_of(job, unit),
        states.watts[unit],
        {s: number(states.devices_a[unit][s]) for s in STATES},
        {s: number(volts[s]) for s in STATES},
        {s: _change_db(volts[s], states.source.running_v, follows=follows) for s in STATES},
        states.assumed[unit],
    )


def _change_db(volts: float, planned_v: float, *, follows: bool) -> float | None:
    if math.isnan(volts):
        return None
    return 20 * math.log10(volts / planned_v) if follows else 0.0
