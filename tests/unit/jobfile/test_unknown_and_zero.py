"""Unknown figures work, with wide intervals; impossible figures, and indicators without marks, give one clear sentence."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.errors import JobError
from gainwright.jobfile import example_text, read_job_text
from gainwright.plan import Plan, make_plan
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
