"""Faults with hidden amounts, and how each changes the circuit.

The amounts are as wide as practice has them (common practice, no published source); what a fault changes is a part of the
circuit, never a reading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.model import (
    Amplifier,
    HeadUnit,
    LevelControl,
    LineDriver,
    Powered,
    Processor,
    Speaker,
    leads_by_name,
    supply_of,
    unit_of,
    volume_of,
)
from third_world.car import edges_of

if TYPE_CHECKING:
    import numpy as np

    from gainwright.model import Job, Node, Port, Wiring

HEALTHY = ("nothing_wrong", "wrong_tone_for_path", "indicator_below_threshold")


@dataclass(frozen=True)
class Fault:
    """One fault: cause and place as the product names them, its amount, and for a speaker its side.

    Attributes
    ----------
    amount : its unit is that of `SPANS`.
    other : a second amount, between 0 and 1.
    """

    cause: str
    where: str
    amount: float = 0.0
    side: str = "both"
    other: float = 0.5


SPANS: dict[str, tuple[float, float, str]] = {
    "lead_resistive": (5.0, 5000.0, "ohm in one conductor"),
    "lead_shorted": (0.05, 2.0, "ohm between the conductors"),
    "source_low": (6.0, 22.0, "dB"),
    "tone_level_wrong": (6.0, 22.0, "dB"),
    "balance_over": (12.0, 60.0, "dB"),
    "level_control_down": (6.0, 40.0, "dB"),
    "gain_low": (5.0, 16.0, "dB"),
    "gain_high": (5.0, 16.0, "dB"),
    "low_pass_in_the_way": (0.25, 0.65, "corner over the tone that is usual there"),
    "high_pass_in_the_way": (1.5, 5.0, "corner over the tone that is usual there"),
    "boost_on": (5.0, 14.0, "dB"),
    "load_too_low": (0.25, 0.55, "share of the impedance"),
    "supply_sagging": (0.18, 0.45, "share of the supply lost at full power"),
    "speaker_shorted": (0.1, 0.6, "ohm"),
    "coil_reversed": (0.01, 0.06, "share of the movement"),
    "ground_loop": (8e-3, 0.12, "V"),
    "alternator_whine": (5e-3, 0.08, "V"),
    "source_ground_bad": (5e-3, 0.08, "V"),
    "fader_over": (8.0, 50.0, "dB"),
    "input_mode_wrong": (10.0, 24.0, "dB"),
    "player_equaliser_on": (5.0, 14.0, "dB"),
}
"""Cause -> low and high end of its amount (drawn evenly in the logarithm), and what it is."""
KNOBS_HZ = (32.0, 5000.0)
"""How far the knobs of filters usually go."""
SPEAKER_LEAD_OHM = (5.0, 500.0)


def draw_fault(cause: str, where: str, job: Job, wiring: Wiring, rng: np.random.Generator) -> Fault:
    """Return a fault with a hidden amount."""
    low, high, _ = SPANS.get(cause, (1.0, 1.0, ""))
    if cause == "lead_resistive" and _at_speaker(where, job, wiring):
        low, high = SPEAKER_LEAD_OHM
    amount = math.exp(rng.uniform(math.log(low), math.log(high)))
    side = "both"
    if cause in ("speaker_open", "speaker_shorted", "speaker_damaged"):
        sides = sorted({port.side for port in wiring.ports(where)})
        # one of two mostly: two at once are rare
        side = str(rng.choice(sides)) if len(sides) > 1 and rng.random() < 0.8 else "both"
    elif cause == "balance_over":
        side = str(rng.choice(["left", "right"]))
    return Fault(cause, where, amount, side, float(rng.random()))


def comes_and_goes(fault: Fault) -> bool:
    """Return whether a fault is there now and then only."""
    return fault.cause in ("lead_loose", "amplifier_hot")


def beside(output: str, stage: str, wiring: Wiring) -> str:
    """Return the output whose leads are exchanged with those of another: the next that feeds something else by volts."""
    feeds: dict[str, set[Port]] = {}
    for node in wiring.outputs(stage):
        if node not in wiring.digital:
            feeds.setdefault(node.output, set()).update(wiring.ports_fed_by(node))
    names = [name for name, ports in feeds.items() if ports]
    return names[(names.index(output) + 1) % len(names)]


def _at_speaker(where: str, job: Job, wiring: Wiring) -> bool:
    return isinstance(job.stages[leads_by_name(wiring)[where][0][1].stage], Speaker)


def usual_tone_hz(node: Node, job: Job, wiring: Wiring) -> float:
    """Return the middle of what the first speaker after an output gets, Hz."""
    for path in wiring.paths:
        if node in path.nodes:
            low, high = edges_of(path.speaker, job, wiring)
            return math.sqrt(max(low, 35.0) * min(high, 4000.0))
    return 200.0


def corner_hz(fault: Fault, node: Node, job: Job, wiring: Wiring) -> float:
    """Return the corner of a filter that is in the way at an output, Hz, as far as its knob goes."""
    hz = fault.amount * usual_tone_hz(node, job, wiring)
    stage = job.stages[node.stage]
    holder = stage.outputs[node.output] if isinstance(stage, HeadUnit | Processor) else stage
    span = getattr(holder, f"{fault.cause.removesuffix('_in_the_way')}_range", None)
    low, high = KNOBS_HZ if span is None or span.fixed else (span.low_hz, span.high_hz)
    return min(max(hz, low), high)


def turned(fault: Fault, job: Job, stands: dict[str, float]) -> dict[str, float]:
    """Return the settings of controls that a fault has moved; steps, dB, shares of travel, or a position's number."""
    name, cause = fault.where, fault.cause
    stage = job.stages.get(name)
    if cause == "input_range_wrong" and isinstance(stage, Amplifier):
        count = len(stage.input_ranges)
        return {f"{name}.input_range": (stands[f"{name}.input_range"] + 1 + int(fault.other * (count - 1))) % count}
    if cause in ("gain_low", "gain_high") and isinstance(stage, Amplifier):
        return {f"{name}.gain": _gain(fault, stage, stands[f"{name}.gain"])}
    if cause == "gain_muted":
        return {f"{name}.gain": 0.0}
    if cause == "control_bypassed" and stage is not None:
        return {f"{name}.remote_level" if isinstance(stage, Amplifier) else f"{name}.level": 0.0}
    if cause == "level_control_down" and stage is not None:
        return _down(fault, name, job, stands)
    return {}


def _gain(fault: Fault, stage: Amplifier, stands: float) -> float:
    ends = next(iter(stage.input_ranges.values()), stage.sensitivity)
    span_db = 28.0
    if ends is not None and ends.first.known and ends.second.known and not ends.single:
        span_db = abs(20 * math.log10(ends.second.nominal / ends.first.nominal))
    by = fault.amount / max(span_db, 6.0)
    return max(stands - by, 0.02) if fault.cause == "gain_low" else min(stands + by, 1.0)


def _down(fault: Fault, name: str, job: Job, stands: dict[str, float]) -> dict[str, float]:
    stage = job.stages[name]
    if volume_of(stage) is not None:
        step_db = 1.4 if not isinstance(stage, Processor) else 0.8
        return {f"{name}.volume": max(1.0, round(stands[f"{name}.volume"] - fault.amount / step_db))}
    if isinstance(stage, LineDriver) and stage.range is not None:
        return {f"{name}.gain": max(stands[f"{name}.gain"] - fault.amount, stage.range.low)}
    holder = stage.remote_level if isinstance(stage, Amplifier) else stage
    key = f"{name}.remote_level" if isinstance(stage, Amplifier) else f"{name}.level"
    ends = getattr(holder, "range", None)
    lowest = ends.low if ends is not None else -60.0
    assert isinstance(stage, Amplifier | LevelControl)
    return {key: max(stands[key] - fault.amount, lowest)}


def units_off(fault: Fault, job: Job) -> tuple[str, ...]:
    """Return the chassis and boxes that a fault leaves off."""
    if fault.cause in (
        "amplifier_no_turn_on",
        "amplifier_no_supply",
        "amplifier_protecting",
        "amplifier_hot",
        "box_no_power",
    ):
        return (fault.where,)
    powered = {n: s for n, s in job.stages.items() if isinstance(s, Powered)}
    if fault.cause == "shared_no_supply":
        return tuple({unit_of(job, n) for n in powered if supply_of(job, n) == "vehicle"})
    if fault.cause == "shared_no_turn_on":
        return tuple({unit_of(job, n) for n, s in powered.items() if s.turn_on == "remote"})
    return ()


def coil_open_factor(port: Port, job: Job, wiring: Wiring) -> float:
    """Return what one open coil makes of a loudspeaker's impedance: the others are left, or none if they are in series."""
    stage = job.stages[port.stage]
    assert isinstance(stage, Speaker)
    assert stage.coils is not None
    number, how = stage.coils.number, stage.coils.wiring
    if how == "separate":
        return math.inf if port == wiring.ports(port.stage)[0] else 1.0
    return float({"parallel": number / (number - 1), "series-parallel": 2.0}.get(how, math.inf))
