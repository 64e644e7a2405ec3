"""The values assumed when a job doesn't give them: one table, each entry with its spread and reason.

`facts` gives every physical number of a job by path, given or assumed; the solver and the simulated rig both
draw from it. `settings` gives the positions of the controls. The assumed values are common practice, without a
published source unless the reason names one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.model import (
    Amplifier,
    Converter,
    HeadUnit,
    LevelControl,
    LineDriver,
    Processor,
    Speaker,
    Wiring,
    resolve,
)
from gainwright.quantities import Exact, Normal, Quantity, Uniform, parse, quantity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import AnyStage, Equaliser, FilterSetting, Job, LeadRun

PRACTICE = "common practice, no published source"


@dataclass(frozen=True, slots=True)
class Fact:
    """One physical number of a job.

    Attributes
    ----------
    path : `stage.key`, `stage.output.key` or `lead:FROM-TO.resistance`.
    quantity : value and spread in SI.
    given : whether the job gives it.
    reason : why it is assumed; empty when given.
    """

    path: str
    quantity: Quantity
    given: bool
    reason: str = ""


def facts(job: Job, wiring: Wiring | None = None) -> dict[str, Fact]:
    """Return every physical number of a job by path, given or assumed.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    wiring = wiring or resolve(job)
    found = [
        _fact("vehicle.running", job.vehicle.running, "13.8 V ± 0.4 V", "engine or charger running; " + PRACTICE),
        _fact("vehicle.resting", job.vehicle.resting, "12.6 V ± 0.2 V", "a charged 12 V battery at rest; " + PRACTICE),
    ]
    for name in wiring.order:
        found += _stage_facts(name, job.stages[name], wiring)
    for run in wiring.leads:
        found.append(_lead_fact(run, job.stages[run.target], job.stages[run.source_stage]))
    return {fact.path: fact for fact in found}


def settings(job: Job) -> dict[str, float]:
    """Return the position of each control, by path.

    `head.volume` in steps, `knob.level` in dB (0 at its maximum), `amp.gain` as a fraction of its travel,
    `desk.output.level` in dB.
    """
    stand: dict[str, float] = {}
    for name, stage in job.stages.items():
        if isinstance(stage, HeadUnit):
            steps = volume_steps(stage)
            stand[f"{name}.volume"] = stage.volume.at if stage.volume.at is not None else round(0.75 * steps)
            stand |= {f"{name}.{o}.level": _nominal(out.level, 0.0) for o, out in stage.outputs.items()}
        elif isinstance(stage, Processor):
            stand |= {f"{name}.{o}.level": _nominal(out.level, 0.0) for o, out in stage.outputs.items()}
        elif isinstance(stage, LevelControl):
            stand[f"{name}.level"] = _nominal(stage.at, 0.0)
        elif isinstance(stage, Amplifier):
            stand[f"{name}.gain"] = _nominal(stage.gain.at, 0.0)
    return stand


def volume_steps(stage: HeadUnit) -> int:
    """Return the number of volume steps, 40 when not given (common practice, no published source)."""
    return stage.volume.steps or 40


def _nominal(value: Quantity | None, default: float) -> float:
    return value.nominal if value is not None and value.known else default


def _fact(path: str, value: Quantity | None, default: str | Quantity, reason: str, dimension: str = "voltage") -> Fact:
    if value is not None and value.known:
        return Fact(path, value, given=True)
    assumed = parse(default, dimension) if isinstance(default, str) else default
    return Fact(path, assumed, given=False, reason=reason)


def _percent_of(value: float, percent: float) -> Quantity:
    return Quantity(f"{value:.4g} V ± {percent:g} %", "voltage", Normal(value, value * percent / 100, 0.0))


def _stage_facts(name: str, stage: AnyStage, wiring: Wiring) -> Iterator[Fact]:
    if isinstance(stage, HeadUnit):
        yield from _head_unit(name, stage)
    elif isinstance(stage, Processor):
        yield from _processor(name, stage)
    elif isinstance(stage, LineDriver):
        yield from _line_driver(name, stage)
    elif isinstance(stage, LevelControl):
        yield from _common(
            name, stage, input_ohm="10 kohm ± 20 %", output_ohm="200 .. 2500 ohm", noise_v=2e-6, thd="0.001 %"
        )
    elif isinstance(stage, Converter):
        yield from _converter(name, stage)
    elif isinstance(stage, Amplifier):
        yield from _amplifier(name, stage)
    else:
        yield from _speaker(name, stage, wiring)


def _common(name: str, stage: AnyStage, *, input_ohm: str, output_ohm: str, noise_v: float, thd: str) -> Iterator[Fact]:
    if not isinstance(stage, HeadUnit | Speaker):
        yield _fact(f"{name}.input_impedance", stage.input_impedance, input_ohm, PRACTICE, "resistance")
    yield _fact(f"{name}.output_impedance", stage.output_impedance, output_ohm, PRACTICE, "resistance")
    yield _fact(f"{name}.output_noise", stage.output_noise, quantity(noise_v, "voltage"), PRACTICE)
    yield _fact(f"{name}.distortion", stage.distortion, thd, "below its ceiling; " + PRACTICE, "fraction")


def _filter_facts(path: str, **filters: FilterSetting | None) -> Iterator[Fact]:
    for control, setting in filters.items():
        if setting is not None and setting.corner is not None:
            yield Fact(f"{path}.{control}.corner", setting.corner, given=True)


def _equaliser_facts(path: str, equaliser: Equaliser | None) -> Iterator[Fact]:
    for i, band in enumerate(equaliser.bands if equaliser else ()):
        yield Fact(f"{path}.{i}.gain", band.gain, given=True)
        yield Fact(f"{path}.{i}.corner", band.corner, given=True)
        yield Fact(f"{path}.{i}.q", band.q, given=True)


def _head_unit(name: str, stage: HeadUnit) -> Iterator[Fact]:
    rated = stage.rated_output
    limit = rated if rated.known and not isinstance(rated.spread, Exact) else _percent_of(rated.nominal, 5)
    yield _fact(
        f"{name}.output_limit", stage.output_limit, limit, "a source clips near its rated output, ±5 %; " + PRACTICE
    )
    yield _fact(
        f"{name}.volume.step",
        stage.volume.step,
        "0.8 .. 2 dB",
        "a volume step is 0.8 to 2 dB, unknown until measured; " + PRACTICE,
        "ratio",
    )
    yield _fact(
        f"{name}.volume.top",
        stage.volume.top,
        "-6 .. 6 dB",
        "the rated output may be reached before the highest step or not at all; " + PRACTICE,
        "ratio",
    )
    output_ohm = "0.02 .. 0.1 ohm" if stage.speaker_level else "50 .. 400 ohm"
    yield from _common(
        name, stage, input_ohm="", output_ohm=output_ohm, noise_v=rated.nominal * 10 ** (-95 / 20), thd="0.01 .. 0.05 %"
    )
    for output, o in stage.outputs.items():
        yield from _filter_facts(f"{name}.{output}", low_pass=o.low_pass, high_pass=o.high_pass)
    yield from _equaliser_facts(f"{name}.tone", stage.tone)


def _processor(name: str, stage: Processor) -> Iterator[Fact]:
    limit_in = _fact(f"{name}.input_limit", stage.input_limit, "4 V ± 10 %", PRACTICE)
    limit_out = _fact(f"{name}.output_limit", stage.output_limit, "4 V ± 10 %", PRACTICE)
    gain_db = 20 * math.log10(limit_out.quantity.nominal / limit_in.quantity.nominal)
    yield limit_in
    yield limit_out
    yield _fact(
        f"{name}.gain",
        stage.gain,
        Quantity(f"{gain_db:.2f} dB ± 0.2 dB", "ratio", Normal(gain_db, 0.2)),
        "full scale at its input gives full scale at its output; " + PRACTICE,
        "ratio",
    )
    noise_v = limit_out.quantity.nominal * 10 ** (-100 / 20)
    yield from _common(
        name, stage, input_ohm="20 kohm ± 30 %", output_ohm="50 .. 300 ohm", noise_v=noise_v, thd="0.003 .. 0.01 %"
    )
    for output, o in stage.outputs.items():
        yield from _filter_facts(f"{name}.{output}", low_pass=o.low_pass, high_pass=o.high_pass)
        yield from _equaliser_facts(f"{name}.{output}.equaliser", o.equaliser)


def _line_driver(name: str, stage: LineDriver) -> Iterator[Fact]:
    limit = _fact(f"{name}.output_limit", stage.output_limit, "8 V ± 10 %", PRACTICE)
    yield limit
    yield _fact(f"{name}.gain", stage.gain, stage.gain, "", "ratio")
    ceiling = _percent_of(limit.quantity.nominal, 10)
    yield _fact(
        f"{name}.input_limit",
        stage.input_limit,
        ceiling,
        "its input has the same supply as its output; " + PRACTICE,
    )
    yield from _common(
        name, stage, input_ohm="20 kohm ± 30 %", output_ohm="30 .. 100 ohm", noise_v=20e-6, thd="0.003 .. 0.02 %"
    )


def _converter(name: str, stage: Converter) -> Iterator[Fact]:
    limit_in = _fact(f"{name}.input_limit", stage.input_limit, "20 V ± 10 %", PRACTICE)
    ratio = _fact(f"{name}.ratio", stage.ratio, "-14 dB ± 1 dB", PRACTICE, "ratio")
    yield limit_in
    yield ratio
    out_v = limit_in.quantity.nominal * 10 ** (ratio.quantity.nominal / 20)
    yield _fact(
        f"{name}.output_limit",
        stage.output_limit,
        _percent_of(out_v, 5),
        "its input limit through its ratio; " + PRACTICE,
    )
    yield from _common(
        name, stage, input_ohm="1 kohm ± 30 %", output_ohm="100 .. 1000 ohm", noise_v=10e-6, thd="0.01 .. 0.05 %"
    )


def _amplifier(name: str, stage: Amplifier) -> Iterator[Fact]:
    for i, rating in enumerate(stage.power):
        yield Fact(f"{name}.power.{i}", rating.power, given=True)
        yield Fact(f"{name}.load.{i}", rating.load, given=True)
    yield _fact(
        f"{name}.headroom",
        stage.headroom,
        "0 .. 0.5 dB",
        "a rating is power at 1 % THD+N or less (CTA-2006), so the amplifier delivers it or slightly more; " + PRACTICE,
        "ratio",
    )
    yield _fact(f"{name}.rated_at", stage.rated_at, "14.4 V", "CTA-2006 rates at 14.4 V")
    ends = stage.sensitivity
    up = _fact(f"{name}.sensitivity.up", ends.first if ends else None, "0.2 V ± 10 %", PRACTICE)
    down = _fact(f"{name}.sensitivity.down", ends.second if ends else None, "5 V ± 10 %", PRACTICE)
    yield up
    yield down
    bend = Quantity("0 ± 10 % of travel", "number", Normal(0.0, 0.1))
    yield Fact(
        f"{name}.gain.bend", bend, given=False, reason="gain follows rotation geometrically, not exactly; " + PRACTICE
    )
    mutes = {"yes": Exact(1.0), "no": Exact(0.0)}.get(stage.gain.mutes_at_minimum or "unknown", Uniform(0.0, 1.0))
    yield Fact(
        f"{name}.gain.mutes",
        Quantity(stage.gain.mutes_at_minimum or "unknown", "number", mutes),
        given=stage.gain.mutes_at_minimum in ("yes", "no"),
        reason="some gain controls pass nothing at their lowest end, taken as one in two; " + PRACTICE,
    )
    yield _fact(
        f"{name}.input_limit",
        stage.input_limit,
        _percent_of(1.6 * down.quantity.nominal, 10),
        "its input accepts somewhat more than the sensitivity at gain fully down; " + PRACTICE,
    )
    rated_v = math.sqrt(stage.power[0].power.nominal * stage.power[0].load.nominal)
    yield from _common(
        name,
        stage,
        input_ohm="15 kohm ± 30 %",
        output_ohm="0.01 .. 0.05 ohm",
        noise_v=rated_v * 10 ** (-90 / 20),
        thd="0.01 .. 0.05 %",
    )
    yield from _filter_facts(f"{name}.out", low_pass=stage.low_pass, high_pass=stage.high_pass)
    yield from _equaliser_facts(f"{name}.boost", stage.boost)


def _speaker(name: str, stage: Speaker, wiring: Wiring) -> Iterator[Fact]:
    del wiring
    if stage.coils is not None:
        each, factor = stage.coils.each, stage.coils.factor / stage.count
    else:
        each, factor = stage.impedance, 1 / stage.count
    fact = _fact(f"{name}.coil", each, "4 ohm ± 5 %", PRACTICE, "resistance")
    spread = fact.quantity.spread
    scaled: Exact | Normal | Uniform
    if isinstance(spread, Normal):
        scaled = Normal(spread.mean * factor, spread.half_width * factor, 0.0)
    elif isinstance(spread, Uniform):
        scaled = Uniform(spread.low * factor, spread.high * factor)
    else:
        scaled = Exact(fact.quantity.nominal * factor)
    load = Quantity(f"{fact.quantity.text} × {factor:.4g}", "resistance", scaled)
    yield Fact(f"{name}.impedance", load, given=fact.given, reason=fact.reason)


def _lead_fact(run: LeadRun, target: AnyStage, source: AnyStage) -> Fact:
    path = f"{run}.resistance"
    lead = target.lead
    power_lead = isinstance(target, Speaker) or (isinstance(source, HeadUnit) and source.speaker_level)
    if lead is not None and lead.resistance is not None and lead.resistance.known:
        return Fact(path, lead.resistance, given=True)
    if lead is not None and lead.length is not None:
        if lead.area is not None:
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
