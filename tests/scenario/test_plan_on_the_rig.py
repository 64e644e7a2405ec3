"""The plan carried out step by step on the simulated rig, a second method that shares no formula with the solver."""

from __future__ import annotations

import math

import numpy as np
import pytest
from cars import CARS
from random_jobs import random_job

from gainwright.app.set_up.bench_run import run_on_bench
from gainwright.jobfile import example_text, examples, read_job_text
from gainwright.model import Amplifier, Job, resolve
from gainwright.plan import Plan, make_plan
from gainwright.simulated import Rig, SimulatedBench

THD_LIMIT = 0.0105
"""1 % (CTA-2006 rating) and what a hand's last turn of a gain adds."""


def problems(job: Job, seed: int) -> list[str]:
    """Carry a job's plan out on a rig with hidden numbers; return what did not end as the plan says."""
    plan = make_plan(job)
    bench = SimulatedBench(Rig(job, seed=seed))
    outcome = run_on_bench(plan, job, bench, bench.rig.instruments)
    found = []
    for step in plan.steps:
        if step.phase in ("amplifier", "verify") and step.id in outcome.readings and step.expect is not None:
            reads = outcome.readings[step.id]
            # A twelfth of a decibel: what twelve halvings of a gain's travel leave.
            if not step.expect.low * 0.99 <= reads <= step.expect.high * 1.01:
                found.append(f"{step.id} reads {reads:.4g} V, expected {step.expect.low:.4g} to {step.expect.high:.4g}")
    return found + clipped_at_the_end(plan, bench) + clipped_at_some_frequency(plan, job, bench)


def clipped_at_the_end(plan: Plan, bench: SimulatedBench) -> list[str]:
    """Look at every amplifier with speakers on and each step's own tone: nothing may be past 1 % THD."""
    found = []
    bench.disconnect(())
    for step in plan.steps:
        # of a tone that a filter stops, harmonics from before it are left: that is no clipping
        if step.phase == "verify" and step.tone_hz is not None and step.level_dbfs is not None and not step.proves:
            bench.play(step.tone_hz, step.level_dbfs)
            period, _ = bench.rig.period(step.measure_at)
            lines = np.abs(np.fft.rfft(period))
            thd = math.sqrt(float(np.sum(lines[2:] ** 2))) / float(lines[1])
            if not thd < THD_LIMIT:
                found.append(f"{step.measure_at} ends at {100 * thd:.2f} % THD")
    return found


CLEAN_BEFORE = 0.03
"""0.67 dB past a ceiling (closed form): what a meter alone leaves at the knee with steps of 2 dB; a boost is 5 and more."""
FREQUENCIES_HZ = (25.0, 63.0, 160.0, 400.0, 1000.0, 2500.0, 8000.0)


def clipped_at_some_frequency(plan: Plan, job: Job, bench: SimulatedBench) -> list[str]:
    """Look before the amplifiers at full scale, at what frequencies the plan named and others.

    Harmonics above 3 % of the most that a node carries are no longer clean; of a tone that a filter stops, what a clean
    source left of them may be more than that of the tone itself. Where a source's own boost clips programme, the plan
    says up to which level it is clean.
    """
    clean_to_dbfs = min(volume.clean_to_dbfs for volume in plan.volumes)
    front = [str(n) for n in resolve(job).nodes if not isinstance(job.stages[n.stage], Amplifier)]
    tones = {s.tone_hz for s in plan.steps if s.phase == "source" and s.tone_hz} | set(FREQUENCIES_HZ)
    seen: dict[str, list[tuple[float, float, float]]] = {}
    for tone_hz in sorted(tones):
        bench.play(tone_hz, clean_to_dbfs)
        for node, period in bench.rig.periods().items():
            lines = np.abs(np.fft.rfft(period)) / len(period)
            seen.setdefault(node, []).append((tone_hz, float(lines[1]), math.sqrt(float(np.sum(lines[2:] ** 2)))))
    found = []
    for node in front:
        most = max(tone for _, tone, _ in seen[node])
        worst = max(seen[node], key=lambda row: row[2])
        if not worst[2] < CLEAN_BEFORE * most:
            found.append(f"{node} is past its ceiling at {worst[0]:g} Hz: {100 * worst[2] / most:.2f} % of its best")
    return found


@pytest.mark.parametrize("name", list(examples()))
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_every_example_reaches_its_targets(name: str, seed: int) -> None:
    """Each shipped example, on three rigs with other hidden numbers, reaches its targets and nothing clips."""
    assert problems(read_job_text(example_text(name), name).job, seed) == []


@pytest.mark.parametrize("block", range(10))
def test_random_jobs_reach_their_targets(block: int) -> None:
    """Forty random chains, four in each block, reach their targets and nothing clips."""
    found = {seed: problems(random_job(seed), seed) for seed in range(4 * block, 4 * block + 4)}
    assert {seed: what for seed, what in found.items() if what} == {}


@pytest.mark.parametrize("seed", [1, 2])
def test_an_amplifier_before_another_stage_is_set_too(seed: int) -> None:
    """A factory amplifier before a converter ends below its own ceiling and the next input's, where its step says."""
    job = read_job_text(CARS["amplifier_before"]).job
    steps = [step.id for step in make_plan(job).steps if step.phase == "amplifier"]
    assert steps == ["amplifier.factory", "amplifier.amp"]
    assert problems(job, seed) == []


EQUALISED = {
    "active_three_way": ("peak -3 dB at 900 Hz q 1.4", "peak +6 dB at 500 Hz q 1.4"),
    "two_way_and_sub": (
        "sub:     {from: sub,   low_pass: linkwitz-riley 24 at 80 Hz}",
        "sub: {from: sub, low_pass: linkwitz-riley 24 at 80 Hz, equaliser: [peak +5 dB at 60 Hz q 2]}",
    ),
}


@pytest.mark.parametrize("name", list(EQUALISED))
def test_a_boost_in_a_processor_is_found_at_its_own_frequency(name: str) -> None:
    """A boost away from the set-up tone: the source is set for it too, and no frequency clips before the amplifiers."""
    old, new = EQUALISED[name]
    text = example_text(name)
    assert old in text
    job = read_job_text(text.replace(old, new)).job
    plan = make_plan(job)
    assert any("clips earlier" in step.why for step in plan.steps)
    for seed in (1, 2):
        assert [found for found in problems(job, seed) if "past its ceiling" in found] == []


def test_a_wrong_plan_is_seen() -> None:
    """The check can fail: an amplifier left where its gain was before setting is far from its target."""
    job = read_job_text(example_text("full_range")).job
    plan = make_plan(job)
    bench = SimulatedBench(Rig(job, seed=1))
    step = next(s for s in plan.steps if s.phase == "amplifier")
    assert step.tone_hz is not None
    assert step.level_dbfs is not None
    assert step.expect is not None
    bench.play(step.tone_hz, step.level_dbfs)
    assert not step.expect.low <= bench.read_v(step.measure_at, step.instrument) <= step.expect.high
