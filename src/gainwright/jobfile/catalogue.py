"""The values assumed when a job doesn't give them: one table, each entry with its spread and reason.

`facts` gives every physical number of a job by path, given or assumed; the solver and the simulated rig both
draw from it. `settings` gives the positions of the controls. The assumed values are common practice, without a
published source unless the reason names one.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.jobfile.amplifier_facts import (
    HIGH_LEVEL_OHM,
    amplifier_settings,
    input_range,
    powered_facts,
    sensitivity_facts,
)
from gainwright.jobfile.assumed_values import (
    PRACTICE,
    Fact,
    common,
    equaliser_facts,
    fact_of,
    filter_facts,
    percent_of,
    scaled,
)
from gainwright.jobfile.source_facts import balanced_facts, converter, head_unit, line_driver, processor
from gainwright.model import (
    Amplifier,
    Converter,
    HeadUnit,
    LevelControl,
    LineDriver,
    Powered,
    Processor,
    Speaker,
    Volume,
    Wiring,
    resolve,
    volume_of,
)
from gainwright.quantities import Exact, Normal, Quantity, Uniform, parse

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import AnyStage, Job, LeadRun

UNKNOWN_W = 100.0
"""Size by which the noise of an amplifier of unknown power is assumed, W (common practice, no published source)."""


def facts(job: Job, wiring: Wiring | None = None) -> dict[str, Fact]:
    """Return every physical number of a job by path, given or assumed.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    wiring = wiring or resolve(job)
    found = [
        fact_of("vehicle.running", job.vehicle.running, "13.8 V ± 0.4 V", "engine or charger running; " + PRACTICE),
        fact_of(
            "vehicle.resting", job.vehicle.resting, "12.6 V ± 0.2 V", "a charged 12 V battery at rest; " + PRACTICE
        ),
    ]
    for name in wiring.order:
        found += _stage_facts(name, job.stages[name], wiring)
        found += balanced_facts(name, job, wiring)
    for run in wiring.leads:
        if wiring.is_digital(run):
            continue
        found.append(_lead_fact(run, job.stages[run.target], job.stages[run.source_stage]))
    return {fact.path: fact for fact in found}


def settings(job: Job) -> dict[str, float]:
    """Return the position of each control, by path.

    `head.volume` and a master volume `desk.volume` in steps, `knob.level` in dB (0 at its maximum), `amp.gain` as a fraction of its travel,
    `desk.output.level` and `amp.remote_level` in dB, `amp.input_range` as the number of its position.
    """
    stand: dict[str, float] = {}
    for name, stage in job.stages.items():
        volume = volume_of(stage)
        if volume is not None:
            stand[f"{name}.volume"] = volume.at if volume.at is not None else round(0.75 * volume_steps(volume))
        if isinstance(stage, HeadUnit | Processor):
            stand |= {f"{name}.{o}.level": _nominal(out.level, 0.0) for o, out in stage.outputs.items()}
        elif isinstance(stage, LineDriver):
            stand |= {f"{name}.gain": _nominal(stage.gain, 0.0)} if stage.range is not None else {}
        elif isinstance(stage, LevelControl):
            stand[f"{name}.level"] = _nominal(stage.at, 0.0)
        elif isinstance(stage, Amplifier):
            stand |= amplifier_settings(name, stage)
    return stand


def volume_steps(volume: Volume | None) -> int:
    """Return the number of steps of a volume, 40 when not given (common practice, no published source)."""
    return (volume.steps if volume is not None else None) or 40


def _nominal(value: Quantity | None, default: float) -> float:
    return value.nominal if value is not None and value.known else default


def _stage_facts(name: str, stage: AnyStage, wiring: Wiring) -> Iterator[Fact]:
    if isinstance(stage, HeadUnit):
        yield from head_unit(name, stage)
    elif isinstance(stage, Processor):
        yield from processor(name, stage, wiring)
    elif isinstance(stage, LineDriver):
        yield from line_driver(name, stage)
    elif isinstance(stage, LevelControl):
        yield from common(
            name, stage, input_ohm="10 kohm ± 20 %", output_ohm="200 .. 2500 ohm", noise_v=2e-6, thd="0.001 %"
        )
    elif isinstance(stage, Converter):
        yield from converter(name, stage)
    elif isinstance(stage, Amplifier):
        yield from _amplifier(name, stage)
    else:
        yield from _speaker(name, stage, wiring)
    if isinstance(stage, Powered):
        yield from powered_facts(name, stage)


def _amplifier(name: str, stage: Amplifier) -> Iterator[Fact]:
    for i, rating in enumerate(stage.power):
        yield fact_of(f"{name}.power.{i}", rating.power, "20 .. 600 W", "of any size; " + PRACTICE, "power")
        yield Fact(f"{name}.load.{i}", rating.load, given=True)
    yield fact_of(
        f"{name}.headroom",
        stage.headroom,
        "0 .. 0.5 dB",
        "a rating is power at 1 % THD+N or less (CTA-2006), so the amplifier delivers it or slightly more; " + PRACTICE,
        "ratio",
    )
    yield fact_of(f"{name}.rated_at", stage.rated_at, "14.4 V", "CTA-2006 rates at 14.4 V")
    sensitivities = dict(sensitivity_facts(name, stage))
    down = sensitivities[input_range(stage)][1]
    for pair in sensitivities.values():
        yield from pair
    bend = Quantity("0 ± 10 % of travel", "number", Normal(0.0, 0.1))
    yield Fact(
        f"{name}.gain.bend", bend, given=False, reason="gain follows rotation geometrically, not exactly; " + PRACTICE
    )
    muting = "no" if stage.gain.fixed else stage.gain.mutes_at_minimum or "unknown"
    mutes = {"yes": Exact(1.0), "no": Exact(0.0)}.get(muting, Uniform(0.0, 1.0))
    yield Fact(
        f"{name}.gain.mutes",
        Quantity(muting, "number", mutes),
        given=muting in ("yes", "no"),
        reason="some gain controls pass nothing at their lowest end, taken as one in two; " + PRACTICE,
    )
    yield fact_of(
        f"{name}.input_limit",
        stage.input_limit,
        percent_of(1.6 * down.quantity.nominal, 10),
        "its input accepts somewhat more than the sensitivity at gain fully down; " + PRACTICE,
    )
    first = stage.power[0]
    rated_w = first.power.nominal if first.power.known else UNKNOWN_W
    rated_v = math.sqrt(rated_w * first.load.nominal)
    yield from common(
        name,
        stage,
        input_ohm=HIGH_LEVEL_OHM if stage.high_level else "15 kohm ± 30 %",
        output_ohm="0.01 .. 0.05 ohm",
        noise_v=rated_v * 10 ** (-90 / 20),
        thd="0.01 .. 0.05 %",
    )
    yield from filter_facts(f"{name}.out", low_pass=stage.low_pass, high_pass=stage.high_pass)
    yield from equaliser_facts(f"{name}.boost", stage.boost)


def _speaker(name: str, stage: Speaker, wiring: Wiring) -> Iterator[Fact]:
    del wiring
    each, factor = stage.coils.each if stage.coils is not None else stage.impedance, stage.load_factor
    fact = fact_of(f"{name}.coil", each, "4 ohm ± 5 %", PRACTICE, "resistance")
    load = scaled(fact.quantity, factor)
    yield Fact(f"{name}.impedance", load, given=fact.given, reason=fact.reason)
    if stage.re is not None and stage.re.known:
        yield Fact(f"{name}.re", scaled(stage.re, factor), given=True)


def _lead_fact(run: LeadRun, target: AnyStage, source: AnyStage) -> Fact:
    path = f"{run}.resistance"
    lead = target.lead
    power_lead = isinstance(target, Speaker) or (isinstance(source, HeadUnit) and source.speaker_level)
    if lead is not None and lead.resistance is not None and lead.resistance.known:
        return Fact(path, lead.resistance, given=True)
    if lead is not None and lead.length is not None and lead.length.known:
        if lead.area is not None and lead.area.known:
            # 1/58 ohm mm2/m at 20 degC (IEC 60028), out and back.
            value = 2 * lead.length.nominal / (58e6 * lead.area.nominal)
            text = f"{value:.4g} ohm"
            return Fact(path, Quantity(text, "resistance", Normal(value, 0.15 * value, 0.0)), given=True)
        per_metre = 0.026 if power_lead else 0.16
        value = per_metre * lead.length.nominal
        reason = f"{per_metre * 1000:.0f} mohm a metre, out and back, for a lead of this kind; " + PRACTICE
        return Fact(path, Quantity(f"{value:.4g} ohm", "resistance", Uniform(0.5 * value, 1.5 * value)), False, reason)
    text = "0.02 .. 0.1 ohm" if power_lead else "0.2 .. 1 ohm"
    return Fact(path, parse(text, "resistance"), given=False, reason="an intact lead of usual length; " + PRACTICE)
