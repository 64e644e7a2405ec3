"""The numbered lines of a plan: each step stands in one, the numbers are the same wherever they are shown."""

from __future__ import annotations

import pytest

from gainwright.app.set_up.run import run_of
from gainwright.jobfile import example_text, examples, instruments, read_job_text
from gainwright.model import Job
from gainwright.plan import Plan, control_words, labels, make_plan
from gainwright.report.sheet import sheet_lines


@pytest.fixture(scope="module", params=list(examples()))
def planned(request: pytest.FixtureRequest) -> tuple[Job, Plan]:
    """Return each example and its plan."""
    job = read_job_text(example_text(request.param)).job
    return job, make_plan(job)


def test_every_step_stands_in_one_line_and_numbers_run_on(planned: tuple[Job, Plan]) -> None:
    """Every step in one line, in the order of the plan; numbers from 1 without a gap; results last, without one."""
    plan = planned[1]
    ids = [step for line in plan.lines for step in line.steps]
    numbers = [line.number for line in plan.lines]
    count = max(numbers)
    assert numbers[:count] == list(range(1, count + 1))
    assert set(numbers[count:]) <= {0}
    assert ids == [step.id for step in plan.steps]


def test_steps_of_a_line_share_phase_and_power(planned: tuple[Job, Plan]) -> None:
    """Nobody has to switch anything on or off within a line."""
    plan = planned[1]
    by_id = {step.id: step for step in plan.steps}
    for line in plan.lines:
        assert len({(by_id[s].phase, by_id[s].system, by_id[s].speakers_off) for s in line.steps}) == 1
        assert line.do
        assert line.short
        assert len(line.short) <= max(len(line.do), 90)


def test_numbers_are_the_same_in_run_sheet_and_plan(planned: tuple[Job, Plan]) -> None:
    """The run labels a step with its line, and its place there; the sheet prints the same lines in both forms."""
    job, plan = planned
    run = run_of(plan, [], instruments(job))
    named = labels(plan.lines)
    assert {s.step.id: s.label for s in run.steps} == named
    for line in plan.lines:
        for part, step in enumerate(line.steps, start=1):
            wanted = f"{line.number}.{part}" if len(line.steps) > 1 else f"{line.number}"
            assert named[step] == (wanted if line.number else "")
    for short in (False, True):
        assert [line.number for line in sheet_lines(plan, short=short)] == [line.number for line in plan.lines]


@pytest.mark.parametrize("name", ["two_way_and_sub", "five_channel", "full_range"])
def test_a_common_car_has_few_lines(name: str) -> None:
    """About twenty-five lines: leads, coils, controls, restored filters and the last readings are one each."""
    plan = make_plan(read_job_text(example_text(name)).job)
    assert max(line.number for line in plan.lines) <= 26
    groups = [line.group for line in plan.lines]
    for group in ("leads", "coils", "sides"):
        assert groups.count(group) == 1


def test_the_other_sides_are_read_at_the_clean_step_found() -> None:
    """Every output of a pair, not the first alone: in the same line, with the same tone and what is to be expected there."""
    plan = make_plan(read_job_text(example_text("two_way_and_sub")).job)
    by_id = {step.id: step for step in plan.steps}
    lines = [line for line in plan.lines if any(step.startswith("source.") for step in line.steps)]
    pairs = [[by_id[step] for step in line.steps] for line in lines if len(line.steps) > 1]
    assert [[s.measure_at for s in pair] for pair in pairs] == [
        ["amp_front.out.left", "amp_front.out.right"],
        ["amp_high.out.left", "amp_high.out.right"],
    ]
    for first, other in pairs:
        assert first.adjust is not None
        assert other.adjust is None
        assert (first.tone_hz, first.level_dbfs, first.sets) == (other.tone_hz, other.level_dbfs, other.sets)
        assert other.expect is not None
        assert first.expect is not None
        assert other.expect.value == pytest.approx(first.expect.value, rel=0.01)


def test_polarity_is_checked_after_the_speakers_are_back() -> None:
    """By ear, softly, with the speakers connected and the filters back; not where one speaker plays alone."""
    plan = make_plan(read_job_text(example_text("two_way_and_sub")).job)
    ids = [step.id for step in plan.steps]
    assert ids.index("verify.speakers") < ids.index("verify.polarity") < ids.index("verify.sound")
    step = plan.steps[ids.index("verify.polarity")]
    assert step.speakers_off == ()
    assert (step.system, step.volume) == ("running", "lowest")
    assert all(name in step.do for name in ("woofer", "tweeter", "sub"))
    alone = make_plan(read_job_text(example_text("one_amplifier")).job)
    assert "verify.polarity" not in [step.id for step in alone.steps]


def test_candidates_far_above_a_target_are_left_out() -> None:
    """What lies more than 6 dB above the target limits nothing; what is nearer is named."""
    plan = make_plan(read_job_text(example_text("two_way_and_sub")).job)
    for target in plan.targets:
        why = next(step.why for step in plan.steps if step.id == f"amplifier.{target.stage}")
        for volts in target.candidates_v_rms.values():
            assert (f"{volts:.3g} V" in why) == (volts < target.v_rms * 10 ** (6 / 20))


@pytest.mark.parametrize(
    ("control", "words"),
    [
        ("amp_sub.gain", "gain of the sub amplifier"),
        ("desk.sub.low_pass", "low-pass of the sub output of the desk"),
        ("head.volume", "volume of the head unit"),
        ("knob.level", "the knob"),
    ],
)
def test_controls_in_words(control: str, words: str) -> None:
    """As people in a bay name them."""
    assert control_words(read_job_text(example_text("two_way_and_sub")).job, control) == words


def test_an_output_named_like_a_speaker_stays_an_output() -> None:
    """`front` is an output and a speaker in this job: a ceiling is at the output."""
    plan = make_plan(read_job_text(example_text("digital_player")).job)
    whys = [step.why for step in plan.steps if step.phase == "processor"]
    assert any("at the front output of the desk" in why for why in whys)
    assert not any("speaker" in why for why in whys)


def test_a_reading_for_several_stages_is_one_step() -> None:
    """Converter and processor before one amplifier: the same tone at the same place, read once, both named."""
    plan = make_plan(read_job_text(example_text("factory_converter")).job)
    steps = [step for step in plan.steps if step.phase == "processor"]
    assert len({(step.tone_hz, step.level_dbfs, step.measure_at) for step in steps}) == len(steps) == 2
    assert all("the converter and the desk" in step.do for step in steps)
    assert all(step.why.count("dB are left") == 2 for step in steps)
