"""Figures that can hardly be meant: a supply far from the rating, powers, resistances and corners of absurd size.

The plausible ranges are common practice, no published source: wider than anything sold for a vehicle. Outside them a figure
is asked about; more than ten times outside it stops the plan.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.model import Amplifier, HeadUnit, Processor, Speaker, supply_of, supply_path
from gainwright.plan.result import Finding
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import AnyStage, Job
    from gainwright.plan.context import PlanContext
    from gainwright.plan.result import Severity

SYSTEMS_V = {12: (9.0, 16.0), 24: (18.0, 32.0)}
"""Supply of electronics that run with the engine, by nominal system voltage (ISO 16750-2, codes C and F; from memory)."""
RESTING_SLACK_V = 0.05

POWER_W = (2.0, 10e3)
LOAD_OHM = (0.25, 64.0)
LINE_V = (0.1, 20.0)
SPEAKER_LEVEL_V = (1.0, 60.0)
SENSITIVITY_V = (0.02, 50.0)
CORNER_HZ = (5.0, 22e3)
LOUDNESS_DB = (70.0, 115.0)
ALLOWANCE_DB = (0.0, 24.0)
LEAD_M = (0.05, 25.0)
FAR = 10.0
"""How many times outside its range a figure can't be meant at all."""


def sizes(context: PlanContext) -> Iterator[Finding]:
    """Yield a question for each figure that can hardly be meant, and a blocker where it can't be."""
    yield from _supply(context)
    for name, stage in context.job.stages.items():
        for where, value, span, unit in _figures(name, stage):
            yield from _asked(where, value, span, unit)
        yield from _loudness(name, stage)
    for name, allowance in context.job.allowance.items():
        if allowance.known and not ALLOWANCE_DB[0] <= allowance.nominal <= ALLOWANCE_DB[1]:
            yield _question(
                f"allowance.{name}", f"{allowance.nominal:g} dB", "0 dB", f"{ALLOWANCE_DB[1]:g} dB", "caution"
            )


def _figures(name: str, stage: AnyStage) -> Iterator[tuple[str, float | None, tuple[float, float], str]]:
    """Yield place, value in SI (None where there is none), plausible range and unit of a stage's figures."""

    def known(quantity: object) -> float | None:
        return quantity.nominal if quantity is not None and getattr(quantity, "known", False) else None  # type: ignore[attr-defined]

    if isinstance(stage, HeadUnit):
        yield f"{name}.rated_output", known(stage.rated_output), SPEAKER_LEVEL_V if stage.speaker_level else LINE_V, "V"
    if isinstance(stage, Processor):
        yield f"{name}.output_limit", known(stage.output_limit), LINE_V, "V"
    if isinstance(stage, HeadUnit | Processor):
        for key, out in stage.outputs.items():
            for kind in ("low_pass", "high_pass"):
                setting = getattr(out, kind)
                yield f"{name}.{key}.{kind}", known(setting.corner) if setting else None, CORNER_HZ, "Hz"
    if isinstance(stage, Amplifier):
        for rating in stage.power:
            yield f"{name}.power", known(rating.power), POWER_W, "W"
            yield f"{name}.power", known(rating.load), LOAD_OHM, "ohm"
        yield f"{name}.minimum_load", known(stage.minimum_load), LOAD_OHM, "ohm"
        for end in (stage.sensitivity.first, stage.sensitivity.second) if stage.sensitivity else ():
            yield f"{name}.sensitivity", known(end), SENSITIVITY_V, "V"
        for kind in ("low_pass", "high_pass"):
            setting = getattr(stage, kind)
            yield f"{name}.{kind}", known(setting.corner) if setting else None, CORNER_HZ, "Hz"
    if isinstance(stage, Speaker):
        yield f"{name}.impedance", known(stage.impedance), LOAD_OHM, "ohm"
        yield f"{name}.coils", known(stage.coils.each) if stage.coils else None, LOAD_OHM, "ohm"
        yield f"{name}.power", known(stage.power), POWER_W, "W"
        yield f"{name}.protect_below", known(stage.protect_below), CORNER_HZ, "Hz"
    if stage.lead is not None:
        yield f"{name}.lead.length", known(stage.lead.length), LEAD_M, "m"


def _asked(where: str, value: float | None, span: tuple[float, float], unit: str) -> Iterator[Finding]:
    if value is None or span[0] <= value <= span[1]:
        return
    off = max(span[0] / value if value > 0 else math.inf, value / span[1])
    severity: Severity = "blocker" if off >= FAR else "caution"
    yield _question(where, f"{value:g} {unit}", f"{span[0]:g} {unit}", f"{span[1]:g} {unit}", severity)


def _question(where: str, value: str, low: str, high: str, severity: Severity) -> Finding:
    return Finding(
        severity,
        "improbable_value",
        where,
        say("is {value} meant? usual are {low} to {high}", value=value, low=low, high=high),
        say("look at the device or its papers, and correct the figure or its unit (mV, kohm, kW, kHz)"),
    )


def _loudness(name: str, stage: AnyStage) -> Iterator[Finding]:
    found = stage.sensitivity if isinstance(stage, Speaker) else None
    if found is None or not found.level.known or LOUDNESS_DB[0] <= found.level.nominal <= LOUDNESS_DB[1]:
        return
    low, high = (f"{v:g} dB" for v in LOUDNESS_DB)
    yield _question(f"{name}.sensitivity", f"{found.level.nominal:g} dB", low, high, "caution")


def _supplied(job: Job, name: str) -> str:
    """Return the stage that a new supply of an amplifier is written at: where its chassis has one already, else itself."""
    owner = supply_of(job, name)
    return name if owner == "vehicle" else owner


def _supply(context: PlanContext) -> Iterator[Finding]:
    facts = context.chain.facts
    running, resting = facts["vehicle.running"].quantity.nominal, facts["vehicle.resting"].quantity.nominal
    vehicle = context.job.vehicle
    both = all(v is not None and v.known for v in (vehicle.running, vehicle.resting))
    if both and resting > running + RESTING_SLACK_V:
        yield Finding(
            "blocker",
            "supply_reversed",
            "vehicle",
            say(
                "the battery rests at {resting} V and stands at {running} V with the engine running: then it isn't charged",
                resting=f"{resting:g}",
                running=f"{running:g}",
            ),
            say("exchange the two if they are mixed up; otherwise have the charging system repaired first"),
            {"vehicle.running": f"{resting:g} V", "vehicle.resting": f"{running:g} V"},
        )
    for name, stage in context.job.stages.items():
        if not isinstance(stage, Amplifier):
            continue
        rated = facts[f"{name}.rated_at"].quantity.nominal
        system = 24 if rated > SYSTEMS_V[12][1] else 12
        low, high = SYSTEMS_V[system]
        gets = facts[supply_path(context.job, name, "running")].quantity.nominal
        if not low <= gets <= high:
            yield Finding(
                "blocker",
                "supply_far_from_rating",
                name,
                say(
                    "it is rated at {rated} V and would get {supply} V; electronics for {system} V systems take {low} to {high} V",
                    rated=f"{rated:g}",
                    supply=f"{gets:g}",
                    system=system,
                    low=f"{low:g}",
                    high=f"{high:g}",
                ),
                say("correct the vehicle's voltage, or give the amplifier a supply that it is made for"),
                {f"stages.{_supplied(context.job, name)}.supply": f"{{running: {rated:g} V}}"},
            )
