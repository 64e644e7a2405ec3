"""Carry a plan out on a bench, as a careful person would: set, raise, read, stop, record."""

from __future__ import annotations

import math
import statistics
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gainwright.jobfile import volume_steps
from gainwright.model import Multimeter, volume_of
from gainwright.quantities import parse

if TYPE_CHECKING:
    from gainwright.app.ports import Bench
    from gainwright.model import Instrument, Job
    from gainwright.plan import Plan, Step

GAIN_TURNS = 12
"""Halvings of a gain control's travel when a voltage is approached: finer than a hand can set."""
_KNEE_SHARE = 0.93
"""A volume step that brings less than this share of the usual one is past the knee."""


@dataclass(slots=True)
class BenchOutcome:
    """The results of a run.

    Attributes
    ----------
    readings : step id -> reading, volts rms.
    places : control -> its final setting (volume steps, gain share).
    clean_limits : head unit -> its limits, one for each source step.
    volume_lowered : an amplifier needed less volume since the last pass over the amplifiers.
    """

    readings: dict[str, float] = field(default_factory=dict)
    places: dict[str, float] = field(default_factory=dict)
    clean_limits: dict[str, list[float]] = field(default_factory=dict)
    volume_lowered: bool = False


def run_on_bench(plan: Plan, job: Job, bench: Bench, instruments: dict[str, Instrument]) -> BenchOutcome:
    """Carry out every step that sets, turns or reads something; return the results.

    Where an amplifier is above its target even at its lowest gain, the volume comes down instead, and the amplifiers that
    were already set are set again.
    """
    outcome = BenchOutcome()
    amplifiers = [step for step in plan.steps if step.phase == "amplifier"]
    for step in plan.steps:
        _carry_out_one(step, plan, job, bench, instruments, outcome)
        if amplifiers and step is amplifiers[-1]:
            while outcome.volume_lowered:
                outcome.volume_lowered = False
                for again in amplifiers:
                    _carry_out_one(again, plan, job, bench, instruments, outcome)
    return outcome


def _carry_out_one(
    step: Step, plan: Plan, job: Job, bench: Bench, instruments: dict[str, Instrument], outcome: BenchOutcome
) -> None:
    bench.disconnect(step.speakers_off)
    for control, text in step.sets.items():
        bench.set(control, text)
    if step.phase not in ("prepare", "leads", "controls", "source") and outcome.clean_limits:
        _set_to_limit(bench, outcome)
    of_the_tone = step.expect is not None and step.expect.quantity == "v_rms" and bool(step.instrument)
    if step.tone_hz is not None and step.level_dbfs is not None and of_the_tone:
        bench.play(step.tone_hz, step.level_dbfs)
        if step.adjust is not None and step.adjust.until == "last_clean":
            _raise_to_last_clean(step, job, bench, instruments, outcome)
        elif step.adjust is not None:
            _raise_to_voltage(step, plan, bench, instruments, outcome)
        outcome.readings[step.id] = bench.read_v(step.measure_at, step.instrument)
    if step.phase in ("source", "processor"):
        for control in step.sets:
            bench.set(control, _starting_setting(plan, control))


def _starting_setting(plan: Plan, control: str) -> str:
    """Return the setting that the control steps give a control."""
    return next((s.sets[control] for s in plan.steps if s.phase == "controls" and control in s.sets), "0 dB")


def _set_to_limit(bench: Bench, outcome: BenchOutcome) -> None:
    for head, limits in outcome.clean_limits.items():
        if outcome.places.get(f"{head}.volume") != min(limits):
            outcome.places[f"{head}.volume"] = min(limits)
            bench.turn(f"{head}.volume", min(limits))


def _raise_to_last_clean(
    step: Step, job: Job, bench: Bench, instruments: dict[str, Instrument], outcome: BenchOutcome
) -> None:
    assert step.adjust is not None  # noqa: S101  asked for adjusting steps only
    control = step.adjust.control
    head = control.split(".")[0]
    steps = volume_steps(volume_of(job.stages[head]))
    by_meter = isinstance(instruments[step.instrument], Multimeter)
    last = _knee_by_meter(step, bench, control, steps) if by_meter else _last_clean(step, bench, control, steps)
    bench.turn(control, last)
    outcome.clean_limits.setdefault(head, []).append(last)
    outcome.places[control] = last


def _last_clean(step: Step, bench: Bench, control: str, steps: int) -> float:
    """Return the highest step without distortion, by halving (distortion only grows with volume)."""
    clean, distorted = 1, steps + 1
    while distorted - clean > 1:
        middle = (clean + distorted) // 2
        bench.turn(control, middle)
        if bench.shows_distortion(step.measure_at, step.instrument):
            distorted = middle
        else:
            clean = middle
    return float(clean)


def _knee_by_meter(step: Step, bench: Bench, control: str, steps: int) -> float:
    """Return the last step that still brought its usual rise in dB on a meter."""
    readings: list[float] = []
    for place in range(1, steps + 1):
        bench.turn(control, place)
        readings.append(bench.read_v(step.measure_at, step.instrument))
    enough = max(readings) / 100
    rises = {
        i + 1: 20 * math.log10(readings[i] / readings[i - 1])
        for i in range(1, steps)
        if readings[i - 1] > enough and readings[i] > 0
    }
    if len(rises) < 3:
        return float(steps)
    usual = statistics.median(list(rises.values())[: max(3, len(rises) // 2)])
    small = {place: rise < _KNEE_SHARE * usual for place, rise in rises.items()}
    # One small rise alone is a meter changing its range; past the knee all that follow are small.
    for place in sorted(rises):
        if small[place] and small.get(place + 1, True):
            return float(place - 1)
    return float(steps)


def _raise_to_voltage(
    step: Step, plan: Plan, bench: Bench, instruments: dict[str, Instrument], outcome: BenchOutcome
) -> None:
    """Raise a gain until the reading is reached or distortion shows, and stay just below."""
    assert step.adjust is not None  # noqa: S101  asked for adjusting steps only
    control, target = step.adjust.control, step.adjust.target
    watching = [name for name, i in instruments.items() if not isinstance(i, Multimeter)]
    lowest = parse(step.sets.get(control, _starting_setting(plan, control)), "fraction").nominal

    def too_far(place: float) -> bool:
        bench.turn(control, place)
        if bench.read_v(step.measure_at, step.instrument) > target:
            return True
        return any(bench.shows_distortion(step.measure_at, name) for name in watching)

    while too_far(lowest) and _lower_volume(bench, outcome):
        pass
    low, high = lowest, 1.0
    if not too_far(1.0):
        low = 1.0
    else:
        for _ in range(GAIN_TURNS):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if too_far(middle) else (middle, high)
    bench.turn(control, low)
    outcome.places[control] = low


def _lower_volume(bench: Bench, outcome: BenchOutcome) -> bool:
    """Take one step off the highest clean volume of every source; whether that was possible."""
    lowered = False
    for limits in outcome.clean_limits.values():
        if min(limits) > 1:
            limits.append(min(limits) - 1)
            outcome.volume_lowered = lowered = True
    _set_to_limit(bench, outcome)
    return lowered
