"""The physical numbers of sources and of the stages at line level: head units, processors, line drivers, converters."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.jobfile.amplifier_facts import HIGH_LEVEL_OHM
from gainwright.jobfile.assumed_values import PRACTICE, Fact, common, equaliser_facts, fact_of, filter_facts, percent_of
from gainwright.quantities import Exact, Normal, Quantity, Uniform, parse
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import Converter, HeadUnit, Job, LineDriver, Processor, Volume, Wiring

USUAL_STEPS = (30, 62)
"""Numbers of steps between which a volume's steps are of the usual size (common practice, no published source)."""


def head_unit(name: str, stage: HeadUnit) -> Iterator[Fact]:
    """Yield the physical numbers of a source; one whose outputs are all digital has no volts and no impedance."""
    if stage.all_digital:
        top, why = "0 dB", "a digital volume only attenuates: full scale stays full scale at its highest step"
    else:
        top, why = "-6 .. 6 dB", "the rated output may be reached before the highest step or not at all; " + PRACTICE
        yield from _analogue_source(name, stage)
    why_steps = "a volume step is 0.8 to 2 dB, unknown until measured; " + PRACTICE
    yield _volume_step(name, stage.volume, (0.8, 2.0), why_steps)
    yield fact_of(f"{name}.volume.top", stage.volume.top, top, why, "ratio")
    for output, o in stage.outputs.items():
        yield from filter_facts(f"{name}.{output}", low_pass=o.low_pass, high_pass=o.high_pass)
    yield from equaliser_facts(f"{name}.tone", stage.tone)
    yield from _by_itself(name, stage)


def _volume_step(name: str, volume: Volume, usual_db: tuple[float, float], why: str) -> Fact:
    """Return the size of a volume's steps: larger than usual where they are few, smaller where they are many.

    A volume goes down by about as much over its travel whatever the number of its steps (common practice, no published source).
    """
    steps = volume.steps or USUAL_STEPS[0]
    factor = USUAL_STEPS[0] / steps if steps < USUAL_STEPS[0] else min(USUAL_STEPS[1] / steps, 1.0)
    low, high = (f"{factor * db:.2g}" for db in usual_db)
    if factor != 1:
        why = say(
            "a volume of {steps} steps has steps of {low} to {high} dB, unknown until measured; common practice, no published source",
            steps=steps,
            low=low,
            high=high,
        )
    return fact_of(f"{name}.volume.step", volume.step, f"{low} .. {high} dB", why, "ratio")


def _by_itself(name: str, stage: HeadUnit) -> Iterator[Fact]:
    """Yield the numbers of what a source does by itself, where the job says that it does, or may."""
    if stage.levelling in ("on", "unknown"):
        why = (
            "levelling plays to -14 to -23 LUFS (AES TD1008, EBU R 128) and leaves tracks without tags alone; a full-scale "
            "tone on both sides has 0 LUFS (ITU-R BS.1770-4); unknown: taken as one in two"
        )
        to = Uniform(-23.0, 0.0 if stage.levelling == "on" else 23.0)
        yield Fact(f"{name}.levelling", Quantity(stage.levelling, "ratio", to), given=False, reason=why)
    does, path = stage.factory, f"{name}.factory"
    if does.loudness in ("yes", "unknown"):
        least = "3 .. 9 dB" if does.loudness == "yes" else "0 .. 9 dB"
        why = "bass raised at low volume and lowered near the top, as far as it is known; " + PRACTICE
        yield fact_of(f"{path}.bass_at_bottom", does.bass_at_bottom, least, why, "ratio")
        yield fact_of(f"{path}.bass_at_top", does.bass_at_top, "-6 .. 0 dB", why, "ratio")
        yield fact_of(f"{path}.bass_corner", does.bass_corner, "80 .. 200 Hz", why, "frequency")
    if does.limiter in ("yes", "unknown"):
        at = "-3 .. 0 dB" if does.limiter == "yes" else "-3 .. 3 dB"
        why = "a limiter holds the output somewhat below its clipping; above it there is none; " + PRACTICE
        yield fact_of(f"{path}.limiter_threshold", does.limiter_threshold, at, why, "ratio")
    if does.load_detection == "yes":
        why = "a speaker is 2 to 8 ohm, a line input 10 kohm: the bound lies in between; " + PRACTICE
        yield fact_of(f"{path}.needs_load", does.needs_load, "20 .. 200 ohm", why, "resistance")
    if does.noise_cancelling in ("yes", "unknown") and not stage.all_digital:
        rated = stage.rated_output
        rated_v = rated.nominal if rated is not None and rated.known else 8.0
        low, high = (0.002 if does.noise_cancelling == "yes" else 0.0) * rated_v, 0.02 * rated_v
        level = Quantity(f"{low:.3g} .. {high:.3g} V", "voltage", Uniform(low, high))
        why = "engine noise of an idling car, up to 2 % of the rated output; " + PRACTICE
        yield fact_of(f"{path}.cancelling_level", does.cancelling_level, level, why)


def _analogue_source(name: str, stage: HeadUnit) -> Iterator[Fact]:
    rated = stage.rated_output
    assert rated is not None  # noqa: S101  the model demands it
    if not rated.known:
        rated = parse("5 .. 11 V" if stage.speaker_level else "1 .. 5 V", "voltage")
    limit = rated if not isinstance(rated.spread, Exact) else percent_of(rated.nominal, 5)
    yield fact_of(
        f"{name}.output_limit", stage.output_limit, limit, "a source clips near its rated output, ±5 %; " + PRACTICE
    )
    output_ohm = "0.02 .. 0.1 ohm" if stage.speaker_level else "50 .. 400 ohm"
    yield from common(
        name, stage, input_ohm="", output_ohm=output_ohm, noise_v=rated.nominal * 10 ** (-95 / 20), thd="0.01 .. 0.05 %"
    )


def processor(name: str, stage: Processor, wiring: Wiring) -> Iterator[Fact]:
    """Yield the physical numbers of a processor: of its inputs those that it has, analogue or digital."""
    digital = [wiring.is_fed_digitally(port) for port in wiring.ports(name)]
    limit_out = fact_of(f"{name}.output_limit", stage.output_limit, "4 V ± 10 %", PRACTICE)
    yield limit_out
    yield from _analogue_inputs(name, stage, limit_out) if not all(digital) else ()
    if any(digital):
        why = "full scale at a digital input gives about the largest clean output; " + PRACTICE
        yield fact_of(f"{name}.digital_gain", stage.digital_gain, "-0.5 .. 0 dB", why, "ratio")
    if stage.volume is not None:
        why = "a master volume mostly has steps of 0.5 to 1 dB, unknown until measured; " + PRACTICE
        yield _volume_step(name, stage.volume, (0.5, 1.0), why)
        why = "a master volume only attenuates: its highest step is its gain; " + PRACTICE
        yield fact_of(f"{name}.volume.top", stage.volume.top, "0 dB", why, "ratio")
    noise_v = limit_out.quantity.nominal * 10 ** (-100 / 20)
    facts = common(
        name,
        stage,
        input_ohm=HIGH_LEVEL_OHM if stage.high_level else "20 kohm ± 30 %",
        output_ohm="50 .. 300 ohm",
        noise_v=noise_v,
        thd="0.003 .. 0.01 %",
    )
    yield from (fact for fact in facts if not (all(digital) and fact.path.endswith("input_impedance")))
    for output, o in stage.outputs.items():
        yield from filter_facts(f"{name}.{output}", low_pass=o.low_pass, high_pass=o.high_pass)
        yield from equaliser_facts(f"{name}.{output}.equaliser", o.equaliser)


def _analogue_inputs(name: str, stage: Processor, limit_out: Fact) -> Iterator[Fact]:
    usual = "16 V ± 20 %" if stage.high_level else "4 V ± 10 %"
    limit_in = fact_of(f"{name}.input_limit", stage.input_limit, usual, PRACTICE)
    gain_db = 20 * math.log10(limit_out.quantity.nominal / limit_in.quantity.nominal)
    yield limit_in
    yield fact_of(
        f"{name}.gain",
        stage.gain,
        Quantity(f"{gain_db:.2f} dB ± 0.2 dB", "ratio", Normal(gain_db, 0.2)),
        "full scale at its input gives full scale at its output; " + PRACTICE,
        "ratio",
    )


def balanced_facts(name: str, job: Job, wiring: Wiring) -> Iterator[Fact]:
    """Yield whether a stage has balanced outputs, and of one that they feed, whether its input is balanced."""
    if getattr(job.stages[name], "balanced", False):
        yield Fact(f"{name}.balanced", Quantity("yes", "number", Exact(1.0)), given=True)
    before = {feed.node.stage for port in wiring.ports(name) for feed in wiring.feeds[port]}
    if any(getattr(job.stages[stage], "balanced", False) for stage in before):
        says = getattr(job.stages[name], "balanced_input", None) or "unknown"
        spread = {"yes": Exact(1.0), "no": Exact(0.0)}.get(says, Uniform(0.0, 1.0))
        why = "many inputs for plugs of two contacts are balanced inside, many aren't, taken as one in two; " + PRACTICE
        quantity = Quantity(says, "number", spread)
        yield Fact(f"{name}.balanced_input", quantity, given=says != "unknown", reason="" if says != "unknown" else why)


def line_driver(name: str, stage: LineDriver) -> Iterator[Fact]:
    """Yield the physical numbers of a line driver."""
    limit = fact_of(f"{name}.output_limit", stage.output_limit, "8 V ± 10 %", PRACTICE)
    yield limit
    yield fact_of(f"{name}.gain", stage.gain, "0 .. 12 dB", "what line drivers usually add; " + PRACTICE, "ratio")
    ceiling = percent_of(limit.quantity.nominal, 10)
    yield fact_of(
        f"{name}.input_limit",
        stage.input_limit,
        ceiling,
        "its input has the same supply as its output; " + PRACTICE,
    )
    yield from common(
        name, stage, input_ohm="20 kohm ± 30 %", output_ohm="30 .. 100 ohm", noise_v=20e-6, thd="0.003 .. 0.02 %"
    )


def converter(name: str, stage: Converter) -> Iterator[Fact]:
    """Yield the physical numbers of a converter."""
    limit_in = fact_of(f"{name}.input_limit", stage.input_limit, "20 V ± 10 %", PRACTICE)
    ratio = fact_of(f"{name}.ratio", stage.ratio, "-14 dB ± 1 dB", PRACTICE, "ratio")
    yield limit_in
    yield ratio
    out_v = limit_in.quantity.nominal * 10 ** (ratio.quantity.nominal / 20)
    yield fact_of(
        f"{name}.output_limit",
        stage.output_limit,
        percent_of(out_v, 5),
        "its input limit through its ratio; " + PRACTICE,
    )
    yield from common(
        name, stage, input_ohm="1 kohm ± 30 %", output_ohm="100 .. 1000 ohm", noise_v=10e-6, thd="0.01 .. 0.05 %"
    )
