"""Each filter that a plan opens for the set-up is verified at its output: a reading reveals it if it was left open."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cars import CARS
from filter_proof import moved_filters, not_told
from random_jobs import random_job

from gainwright.jobfile import example_text, examples, read_job_text
from gainwright.plan import make_plan
from gainwright.simulated import Rig, SimulatedBench

JOBS = {name: example_text(name) for name in examples()} | CARS


@pytest.mark.parametrize("name", list(JOBS))
def test_filter_left_open_is_noticed(name: str) -> None:
    """Examples and other cars: the level with the filter open lies outside what some verify step expects."""
    job = read_job_text(JOBS[name]).job
    plan = make_plan(job)
    assert not_told(job, plan) == {}
    for control in moved_filters(plan):
        assert f"verify.{control}" in {step.id for step in plan.steps}
    assert not [f for f in plan.findings if f.code == "filter_not_proved"]


@pytest.mark.parametrize("seed", range(12))
def test_filter_left_open_is_noticed_in_random_jobs(seed: int) -> None:
    """Random chains: the same, or the plan says that no instrument at hand can show it."""
    job = random_job(seed)
    plan = make_plan(job)
    said = {f.where for f in plan.findings if f.code == "filter_not_proved"}
    assert set(not_told(job, plan)) <= said


def test_the_check_can_fail() -> None:
    """Without the readings in the stop band no open filter is noticed: at the set-up tone it changes the level by less than 2 dB."""
    job = read_job_text(example_text("two_way_and_sub")).job
    plan = make_plan(job)
    proofs = {f"verify.{control}" for control in moved_filters(plan)}
    left = tuple(step for step in plan.steps if step.id not in proofs)
    assert "desk.sub.low_pass" in not_told(job, replace(plan, steps=left))


def test_tweeters_are_verified_first_and_only_moved_filters_are_verified() -> None:
    """A tweeter's high-pass is verified before every other reading; an output whose filters weren't moved isn't."""
    plan = make_plan(read_job_text(JOBS["two_way_and_sub"]).job)
    verify = [step for step in plan.steps if step.phase == "verify"]
    assert verify[0].id == "verify.desk.tweeter.high_pass"
    plain = make_plan(read_job_text(JOBS["full_range"]).job)
    assert not [s for s in plain.steps if s.phase == "verify" and ("prove" in s.why or "back" in s.why)]


@pytest.mark.parametrize("name", ["two_way_and_sub", "at_the_amplifier", "head_unit_alone"])
def test_reading_on_the_rig_is_outside_if_a_filter_was_left_open(name: str) -> None:
    """By the second method: set as planned, each such reading lies inside; with its filter left open it lies outside."""
    from gainwright.app.set_up.bench_run import run_on_bench

    job = read_job_text(JOBS[name]).job
    plan = make_plan(job)
    bench = SimulatedBench(Rig(job, seed=4))
    run_on_bench(plan, job, bench, bench.rig.instruments)
    for control, (opened, back) in moved_filters(plan).items():
        step = next(s for s in plan.steps if s.id == f"verify.{control}")
        assert step.tone_hz is not None
        assert step.level_dbfs is not None
        assert step.expect is not None
        bench.disconnect(step.speakers_off)
        bench.play(step.tone_hz, step.level_dbfs)
        assert step.expect.low <= bench.read_v(step.measure_at, step.instrument) <= step.expect.high
        bench.set(control, opened)
        assert bench.read_v(step.measure_at, step.instrument) > step.expect.high * 10 ** (1 / 20)
        bench.set(control, back)


def test_bands_that_are_summed_again_are_not_in_series() -> None:
    """Two Linkwitz-Riley bands with one corner sum to a flat whole: no clash, a tone within 0.1 dB, no gain fully up."""
    job = read_job_text(JOBS["bands_summed"]).job
    plan = make_plan(job)
    assert not plan.blocked
    assert moved_filters(plan) == {}
    step = next(s for s in plan.steps if s.phase == "amplifier")
    rig = Rig(job, seed=1)
    rig.turn("amp.gain", 0.5)
    levels = []
    for tone_hz in (step.tone_hz, 60.0, 150.0, 1500.0):
        assert tone_hz is not None
        rig.play(tone_hz, -40.0)
        levels.append(float(np.std(rig.period("amp.out.left")[0])))
    assert max(levels) / min(levels) == pytest.approx(1.0, abs=0.02)
    assert "100 %" not in step.why
