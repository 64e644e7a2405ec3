"""What the handover says of readings: the voltage an amplifier was set to."""

from __future__ import annotations

from typing import Any

import pytest

from gainwright.jobfile import example_text, read_entry, read_job_text
from gainwright.model import Job
from gainwright.plan import Plan, make_plan
from gainwright.report.handover import handover
from gainwright.report.paper import BulletList


@pytest.fixture(name="job", scope="module")
def job_fixture() -> Job:
    """The example with a processor, two-way front and a subwoofer."""
    return read_job_text(example_text("two_way_and_sub")).job


@pytest.fixture(name="plan", scope="module")
def plan_fixture(job: Job) -> Plan:
    """Its plan."""
    return make_plan(job)


def test_voltage_reached_is_the_one_the_gain_was_set_by(job: Job, plan: Plan) -> None:
    """Neither the other side's reading nor one through a filter that was put back takes its place."""
    opened = {c: t for s in plan.steps if s.phase == "controls" for c, t in s.sets.items() if c.endswith("_pass")}
    step = next(s for s in plan.steps if s.phase == "amplifier" and s.measure_at.endswith(".left"))
    tone = {"with": "meter", "tone": f"{step.tone_hz:g} Hz", "level": f"{step.level_dbfs:g} dBFS"}
    entries: list[dict[str, Any]] = [
        {"at": step.measure_at, "set": opened, "reads": "12 V"},
        {"at": step.measure_at, "reads": "11 V"},
        {"at": step.measure_at.replace("left", "right"), "set": opened, "reads": "10 V"},
    ]
    assert len(opened) == 2
    for taken, volts_read in ((entries, 12), (entries[1:], 11), (entries[2:], 10)):
        data = handover(job, plan, entries=[read_entry(e | tone, job) for e in taken]).data
        assert next(t for t in data.targets if t.stage == step.stage).reached_v == volts_read


def test_each_output_that_was_read_is_shown(job: Job, plan: Plan) -> None:
    """Both sides of a stereo amplifier have a line, the right one beside what its own step expects; a proof isn't one."""
    steps = [s for s in plan.steps if s.id in ("amplifier.amp_front", "verify.amp_front.out.right")]
    opened = {c: t for s in plan.steps if s.phase == "controls" for c, t in s.sets.items() if c.endswith("_pass")}
    read = [
        {
            "at": s.measure_at,
            "with": "meter",
            "tone": f"{s.tone_hz:g} Hz",
            "level": f"{s.level_dbfs:g} dBFS",
            "reads": "16.5 V",
        }
        for s in steps
    ]
    entries = [read_entry(read[0] | {"set": opened}, job), read_entry(read[1], job)]
    proof = read_entry(read[1] | {"reads": "0.2 V", "proves": "desk.woofer.low_pass"}, job)
    paper = handover(job, plan, entries=[*entries, proof])
    found = next(t for t in paper.data.targets if t.stage == "amp_front")
    assert [(o.at, o.reached_v) for o in found.outputs] == [(s.measure_at, 16.5) for s in steps]
    assert steps[1].expect is not None
    assert [o.expected_v for o in found.outputs] == [found.v_rms, steps[1].expect.value]
    rows = [row for _, t in paper.tables() for row in t.rows if t.columns[-1] == "Deviation" and row[3] != "not read"]
    assert [row[0] for row in rows] == [
        "The left output of the front amplifier",
        "The right output of the front amplifier",
    ]


def test_data_lists_what_was_not_measured(job: Job, plan: Plan) -> None:
    """The JSON has the same list as the paper."""
    paper = handover(job, plan)
    assert paper.data.not_measured == next(b for b in reversed(paper.blocks) if isinstance(b, BulletList)).items


@pytest.mark.parametrize(("share", "said"), [(0.9999, "+0.0 dB"), (0.5, "-6.0 dB"), (2, "+6.0 dB"), (1e-5, "no signal"), (0, "no signal")])  # fmt: skip
def test_deviation_is_in_decibels_where_there_is_a_signal(job: Job, plan: Plan, share: float, said: str) -> None:
    """Half is 6.0 dB less (20 log10 of 0.5); a dead output has no deviation in decibels, and none has a minus before 0.0."""
    step = next(s for s in plan.steps if s.phase == "amplifier")
    target = next(t for t in plan.targets if t.stage == step.stage)
    tone = {"with": "meter", "tone": f"{step.tone_hz:g} Hz", "level": f"{step.level_dbfs:g} dBFS"}
    entry = read_entry({"at": step.measure_at, "reads": f"{share * target.v_rms:.6g} V"} | tone, job)
    paper = handover(job, plan, entries=[entry])
    assert [
        row[4] for _, table in paper.tables() for row in table.rows if table.columns[-1] == "Deviation" and row[4]
    ] == [said]
