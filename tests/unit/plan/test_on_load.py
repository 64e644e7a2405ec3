"""A tone into connected speakers is kept within Xmax and half of what coils stand: by level, by time, or not played at all."""

from __future__ import annotations

import math

import cars
import pytest

from gainwright.jobfile import example_text, examples, read_job_text
from gainwright.model import Speaker
from gainwright.plan import make_plan, tone_uses
from gainwright.plan.result import Plan, Step
from gainwright.solve import MIDDLE, Chain, speaker_unit, tone_load

JOB = """
format: 1
title: Red pick-up
allowance: 6 dB
tones: 50 Hz
stages:
  head: {kind: head_unit, rated_output: 4 V}
  amp: {kind: amplifier, from: head, sides: [mono], power: 500 W @ 2 ohm, sensitivity: 0.2 .. 5 V}
  sub: {kind: speaker, from: amp, coils: 2 x 4 ohm parallel, SUB}
"""
SMALL = "resonance: 30 Hz, qts: 0.5, vas: 70 L, cone_area: 330 cm2"


def step_of(plan: Plan) -> Step | None:
    """Return the reading of the supply under load."""
    return next((s for s in plan.steps if s.id == "verify.supply"), None)


CARS = {name: text for name, text in vars(cars).items() if name.isupper() and isinstance(text, str)}


@pytest.mark.parametrize("name", [*examples(), *CARS])
def test_no_example_drives_a_speaker_too_far(name: str) -> None:
    """At the frequency and level, and for the time, that its plan says, no cone passes Xmax and no coil half of what it withstands."""
    job = read_job_text(CARS[name] if name in CARS else example_text(name)).job
    plan = make_plan(job)
    step = step_of(plan)
    if step is None:
        return
    target = next(t for t in plan.targets if t.stage == step.stage)
    tone = step.load_tone_hz or next(
        s.tone_hz for s in plan.steps if s.phase == "amplifier" and s.stage == step.stage and s.tone_hz
    )
    assert f"Start {tone:g} Hz" in step.do
    lower = _lower_db(step)
    fed = [n for n, s in job.stages.items() if isinstance(s, Speaker) and step.stage in str(s.source)]
    assert fed
    for speaker in fed:
        # the two of a strapped pair push one load
        share = 2 if isinstance(getattr(job.stages[speaker], "source", None), list | tuple) else 1
        volts = share * target.v_rms * 10 ** (-lower / 20)
        load = tone_load(speaker_unit(job, speaker), volts=volts, tone_hz=tone)
        assert not load.past_xmax
        assert step.seconds_at_most is not None
        assert load.seconds >= step.seconds_at_most


NARROW = "low_pass: butterworth 24 at 55 Hz, sensitivity"


def test_a_cone_near_its_limit_gets_less() -> None:
    """Behind a low-pass 12 mm are enough for all of it, 6 mm for less, 1 mm for none: then music takes the tone's place."""
    text = JOB.replace("sensitivity", NARROW)
    free = step_of(make_plan(read_job_text(text.replace("SUB", f"power: 400 W, {SMALL}, xmax: 40 mm")).job))
    tight = step_of(make_plan(read_job_text(text.replace("SUB", f"power: 400 W, {SMALL}, xmax: 6 mm")).job))
    assert free is not None
    assert tight is not None
    assert "to its clean limit" in free.do
    assert free.load_tone_hz is None
    assert "dB below its clean limit" in tight.do
    none = make_plan(read_job_text(text.replace("SUB", f"power: 400 W, {SMALL}, xmax: 1 mm")).job)
    assert step_of(none) is None
    assert [f.remedy for f in none.findings if f.code == "no_tone_on_load"]


def test_a_tone_is_moved_where_that_costs_less() -> None:
    """Without a low-pass a higher tone draws as much and moves the cone less: it has a file of its own, and the step says why."""
    plan = make_plan(read_job_text(JOB.replace("SUB", f"power: 400 W, {SMALL}, xmax: 6 mm")).job)
    step = step_of(plan)
    assert step is not None
    assert step.load_tone_hz is not None
    assert 50 < step.load_tone_hz <= 200
    assert f"Start {step.load_tone_hz:g} Hz at -6 dBFS" in step.do
    assert "At 50 Hz, the tone of the set-up, its cones and coils would bear less" in step.why
    assert (step.load_tone_hz, step.load_tone_dbfs) in tone_uses(plan.steps)
    assert step.file
    assert step.file not in {s.file for s in plan.steps if s.tone_hz == 50}
    held = JOB.replace("sensitivity", NARROW).replace("SUB", f"power: 400 W, {SMALL}, xmax: 6 mm")
    lowered = step_of(make_plan(read_job_text(held).job))
    assert lowered is not None
    assert _lower_db(step) < _lower_db(lowered)


def test_a_hot_coil_gets_a_pause() -> None:
    """A tone at a speaker's own rating, which is for noise, needs a pause; without a rating nothing can be said."""
    hot = step_of(make_plan(read_job_text(JOB.replace("SUB", "power: 60 W")).job))
    unrated = step_of(make_plan(read_job_text(JOB.replace("SUB", "power: unknown")).job))
    assert hot is not None
    assert unrated is not None
    assert hot.pause_seconds is not None
    assert unrated.pause_seconds is None


def test_the_supply_is_expected_at_the_end_of_its_cable() -> None:
    """5 m of 4 AWG and the body: V = (E + sqrt(E^2 - 4 R P))/2 with R and P by hand; without cables the supply itself."""
    text = JOB.replace("SUB", "power: 400 W").replace("power: 500 W @ 2 ohm", "power: 500 W @ 2 ohm, class: AB")
    plain = step_of(make_plan(read_job_text(text).job))
    fed = text + "supply:\n  main: {feeds: [amp], length: 5 m, wire: 4 AWG}\n"
    plan = make_plan(read_job_text(fed).job)
    step = step_of(plan)
    assert step is not None
    assert plain is not None
    assert step.expect is not None
    assert plain.expect is not None
    volts = next(t.v_rms for t in plan.targets) * 10 ** (-_lower_db(step) / 20)
    # rail sqrt(2 P R), E|v| of a sine, converter 85 %; 21.15 mm2 of copper at 50 degrees C, 2 milliohm of body, 1 of joints
    # into the size of the subwoofer's impedance at the tone (held against outside values in test_speaker_loads)
    load = 2 * abs(complex(Chain(read_job_text(fed).job).curves["sub"].ratio(float(step.do.split()[1]), MIDDLE)))
    watts = math.sqrt(2 * 500 * 2) * 2 * math.sqrt(2) / math.pi * volts / load / 0.85
    ohm = 5 / 58 / 21.15 * (1 + 0.00393 * 30) + 0.003
    e = plain.expect.value
    assert step.expect.value == pytest.approx((e + math.sqrt(e * e - 4 * ohm * watts)) / 2, abs=0.005)
    assert step.expect.low < step.expect.value < step.expect.high < plain.expect.high


def _lower_db(step: Step) -> float:
    words = step.do.split(" dB below its clean limit")
    return float(words[0].split()[-1]) if len(words) > 1 else 0.0
