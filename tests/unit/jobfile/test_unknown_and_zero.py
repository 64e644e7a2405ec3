"""Unknown figures work, with wide intervals; impossible figures, and indicators without marks, give one clear sentence."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.errors import JobError
from gainwright.jobfile import example_text, facts, read_job_text
from gainwright.plan import Plan, make_plan
from gainwright.quantities import Uniform
from gainwright.solve import Chain

METER = "  meter: {kind: multimeter, true_rms: no, accuracy: 1.5 % + 5 counts, counts: 4000, bandwidth: 400 Hz}"
POWER = "power: [300 W @ 4 ohm, 450 W @ 2 ohm]"


def text(old: str, new: str) -> str:
    """Return the smallest example with one text replaced."""
    given = example_text("one_amplifier")
    assert old in given
    return given.replace(old, new)


def plan(old: str, new: str) -> Plan:
    """Return the plan of the smallest example with one text replaced."""
    return make_plan(read_job_text(text(old, new)).job)


@pytest.mark.parametrize(
    ("old", "new", "where", "what"),
    [
        ("impedance: 4 ohm", "impedance: 0 ohm", "stages.sub.impedance", "a resistance of zero"),
        ("rated_output: 2 V", "rated_output: 0 V", "stages.head.rated_output", "a voltage of zero"),
        ("steps: 33", "steps: 33, step: 0 dB", "stages.head.volume.step", "a ratio of zero"),
        ("running: 13.9 V ± 0.3 V", "running: 0 V", "vehicle.running", "a voltage of zero"),
        ("sensitivity: 0.25 .. 4 V", "sensitivity: 0 .. 4 V", "stages.amp.sensitivity", "pair of ends"),
        (METER, "  lamp: {kind: indicator}", "instruments.lamp:", "has no marks"),
        (METER, "  lamp: {kind: indicator, marks: {}}", "instruments.lamp:", "has no marks"),
        (METER, "  lamp: {kind: indicator, marks: }", "instruments.lamp:", "has no marks"),
        (METER, "  lamp: {kind: indicator, marks: {clip: }}", "instruments.lamp.marks.clip", "nothing is where"),
        (METER, "  meter: {kind: multimeter, input_impedance: 0 ohm}", "instruments.meter", "a resistance of zero"),
        (POWER, f"{POWER}\n    high_pass: bessel 12 at unknown", "stages.amp.high_pass", "its corner must be known"),
    ],
)
def test_impossible_figures_give_one_clear_sentence(old: str, new: str, where: str, what: str) -> None:
    """Each names its place and what to write; none is a traceback, none mentions Python's types."""
    with pytest.raises(JobError) as caught:
        plan(old, new)
    said = str(caught.value)
    assert where in said
    assert what in said
    assert not {"dict", "NoneType", "nan"} & set(said.split())


@pytest.mark.parametrize(
    ("old", "new", "path"),
    [
        ("rated_output: 2 V", "rated_output: unknown", "head.output_limit"),
        ("sensitivity: 0.25 .. 4 V", "sensitivity: unknown", "amp.sensitivity.up"),
        (POWER, "power: unknown", "amp.power.0"),
        (POWER, "power: unknown @ 4 ohm", "amp.power.0"),
        ("power: 250 W", "power: unknown", "amp.power.0"),
        ("sensitivity: 87 dB", "sensitivity: unknown", "amp.power.0"),
    ],
)
def test_unknown_figures_work_and_are_wide(old: str, new: str, path: str) -> None:
    """Each has a plan; the figure spans a factor of two or more if it is unknown, and didn't before."""
    made = plan(old, new)
    assert made.targets
    assert all(np.isfinite(t.v_rms) for t in made.targets)
    if new.startswith(("rated", "sensitivity: unknown\n", "power: unknown @")):
        wide, known = (
            Chain(read_job_text(given).job).draws(draws=200, seed=1) for given in (text(old, new), text(old, old))
        )
        assert np.max(wide[path]) > 2 * np.min(wide[path])
        assert not np.max(known[path]) > 2 * np.min(known[path])


@pytest.mark.parametrize(
    ("steps", "low_db", "high_db"), [(12, 2.0, 5.0), (30, 0.8, 2.0), (62, 0.8, 2.0), (124, 0.4, 1.0), (None, 0.8, 2.0)]
)
def test_few_steps_of_a_volume_are_large_and_many_small(steps: int | None, low_db: float, high_db: float) -> None:
    """The travel stays the same: 12 steps of 2 to 5 dB are as many decibels as 30 of 0.8 to 2; a job's own step counts alone."""
    volume = "" if steps is None else f", volume: {{steps: {steps}}}"
    text = f"format: 1\ntitle: One\nstages:\n  head: {{kind: head_unit, rated_output: 2 V{volume}, outputs: {{out: {{}}}}}}\n"
    text += "  amp: {kind: amplifier, from: head, power: 50 W @ 4 ohm}\n  doors: {kind: speaker, from: amp}\n"
    step = facts(read_job_text(text).job)["head.volume.step"]
    assert step.quantity.spread == Uniform(low_db, high_db)
    assert steps in (None, 30, 62) or f"a volume of {steps} steps" in step.reason
    if steps is not None:
        own = facts(read_job_text(text.replace("}, outputs", ", step: 1 dB}, outputs")).job)["head.volume.step"]
        assert own.given


def test_amplifier_of_unknown_power_is_set_to_what_nearly_all_reach() -> None:
    """Its target is no rating: it is what 39 of 40 amplifiers reach cleanly, well below the middle of the spread."""
    target = plan(POWER, "power: unknown").targets[0]
    assert target.set_by == "clip"
    assert target.v_rms < 0.5 * target.candidates_v_rms["amplifier"]
    assert "load_below_minimum" not in {f.code for f in plan(POWER, "power: unknown").findings}


def test_line_driver_of_unknown_gain_has_a_plan() -> None:
    """Its gain spans some decibels, with a reason; the plan's targets are figures."""
    driver = "  driver: {kind: line_driver, from: head.sub, gain: unknown}\n  amp:"
    given = example_text("one_amplifier").replace("from: head.sub", "from: driver").replace("  amp:", driver, 1)
    job = read_job_text(given).job
    assert all(np.isfinite(t.v_rms) for t in make_plan(job).targets)
    gain = Chain(job).draws(draws=200, seed=1)["driver.gain"]
    assert np.max(gain) > 2 * np.min(gain)
