"""Plans of random chains: no plug is moved under power, no instrument has to show what it can't, no blocker is ignored."""

from __future__ import annotations

from typing import Any

import pytest
from random_jobs import random_job

from gainwright.jobfile import example_text, read_job_text
from gainwright.model import Indicator, Job, Multimeter, Recorder, gives_power, has_divider, may_float
from gainwright.plan import Plan, Step, make_plan
from gainwright.plan.cautions import (
    BRIDGED,
    FULL_LEVEL,
    GENERAL,
    HEAD_BRIDGED,
    HEARING,
    RECORDER_GROUNDS,
    SCOPE_GROUNDS,
)

METER = {"kind": "multimeter", "bandwidth": "1 kHz"}
INSTRUMENTS: tuple[dict[str, Any], ...] = (
    {"meter": METER},
    {"bare": {"kind": "recorder", "full_scale": "2 V"}},
    {"bare": {"kind": "recorder", "full_scale": "2 V"}, "meter": METER},
    {"rec": {"kind": "recorder", "full_scale": "2 V", "attenuator": "40 dB"}},
    {"lamp": {"kind": "indicator", "marks": {"there": "level over 1 V"}}},
    {"scope": {"kind": "indicator", "marks": {"bent": "thd over 1 %"}}, "meter": METER},
    {"rec": {"kind": "recorder", "full_scale": "2 V", "attenuator": "40 dB"}, "meter": METER},
)


FLOATING = (("strapped_pair", 2), ("factory_equaliser", 1))
"""Examples of what no drawn chain has (a strapped pair, a radio's bridged outputs), with a recorder that has no divider."""


def drawn(seed: int) -> Job:
    """Return a random chain with one of the sets of instruments; every third has a head unit that drives its speakers."""
    job = random_job(seed)
    changes: dict[str, Any] = {"instruments": INSTRUMENTS[seed % len(INSTRUMENTS)]}
    if seed % 3 == 2:
        head = {"kind": "head_unit", "rated_output": "9 V", "speaker_level": True, "outputs": {"front": {}}}
        changes["stages"] = {"head": head, "front": {"kind": "speaker", "from": "head.front", "power": "30 W"}}
        changes["allowance"] = {}
    return Job.model_validate({**job.model_dump(by_alias=True, exclude_unset=True), **changes})


@pytest.fixture(scope="module", params=[*range(14), *FLOATING], ids=str)
def planned(request: pytest.FixtureRequest) -> tuple[Job, Plan]:
    """Return a random chain, or an example with other instruments, and its plan."""
    if isinstance(request.param, int):
        job = drawn(request.param)
    else:
        name, instruments = request.param
        data = read_job_text(example_text(name)).job.model_dump(by_alias=True, exclude_unset=True)
        job = Job.model_validate({**data, "instruments": INSTRUMENTS[instruments]})
    return job, make_plan(job)


def moves_plugs(step: Step) -> bool:
    """Return whether hands are at plugs and bare wires in a step."""
    return step.phase in ("prepare", "leads") or step.id == "verify.speakers"


def test_no_plug_moves_with_the_system_on(planned: tuple[Job, Plan]) -> None:
    """Plugs are moved with everything off; power changes only in steps of its own, one state at a time, from off upwards."""
    _, plan = planned
    stands, up = "off", ("off", "on", "running")
    for step in plan.steps:
        if moves_plugs(step):
            assert step.system == "off", step.id
        if step.system != stands:
            assert step.id.startswith("power."), step.id
        assert step.system in up
        stands = step.system
    off = [s for s in plan.steps if s.speakers_off]
    assert {len(s.speakers_off) for s in off} == {len(off[0].speakers_off)}
    assert all(s.speakers_off for s in plan.steps if s.phase in ("source", "processor", "amplifier"))


def test_every_reading_can_be_shown_by_its_instrument(planned: tuple[Job, Plan]) -> None:
    """Ohms and DC by a meter, volts by a meter or recorder, distortion never by a meter; otherwise no reading, and the plan says so."""
    job, plan = planned
    for step in plan.steps:
        if step.expect is None or step.expect.quantity == "step":
            continue
        instrument = job.instruments.get(step.instrument)
        if instrument is None:
            assert not step.visible
            assert "no_instrument" in {f.code for f in plan.findings}
            continue
        if step.expect.quantity in ("ohm", "supply_v") or "reading" in step.do:
            assert isinstance(instrument, Multimeter), step.id
        elif "clean tone" in step.do:
            assert not isinstance(instrument, Multimeter), step.id
        elif step.expect.lit is None or (step.adjust is not None and step.adjust.until == "v_rms"):
            assert not isinstance(instrument, Indicator), step.id


def test_no_recorder_without_a_divider_at_an_output_for_speakers(planned: tuple[Job, Plan]) -> None:
    """A recorder there has its divider, named, and the caution about grounds; a floating output is described as floating."""
    job, plan = planned
    for step in plan.steps:
        stage = job.stages.get(step.measure_at.split(".")[0])
        if (
            stage is None
            or step.tone_hz is None
            or not gives_power(stage)
            or step.measure_at.endswith("supply_voltage")
        ):
            continue
        instrument = job.instruments.get(step.instrument)
        assert FULL_LEVEL in step.cautions
        if isinstance(instrument, Recorder) or "rec " in step.do:
            assert "divider of 40 dB" in step.do
            assert RECORDER_GROUNDS in step.cautions
        if may_float(stage):
            assert {BRIDGED, HEAD_BRIDGED} & set(step.cautions)
            assert "scope" not in step.do or SCOPE_GROUNDS in step.cautions
        for name, other in job.instruments.items():
            if isinstance(other, Recorder) and not has_divider(other):
                assert name not in step.do


def test_tones_name_their_file_and_their_longest_time(planned: tuple[Job, Plan]) -> None:
    """Each tone has one file; into a speaker it plays for seconds only; general cautions are printed once."""
    _, plan = planned
    played = [s for s in plan.steps if s.tone_hz is not None]
    assert len({s.file for s in played}) == len({(s.tone_hz, s.level_dbfs) for s in played})
    for step in played:
        assert step.file.startswith(tuple("0123456789"))
        assert step.where_text
        assert step.speakers_off
    for step in plan.steps:
        if step.id == "verify.supply":
            assert step.seconds_at_most in (2, 3, 4, 5)
            assert step.file in {s.file for s in played}
            assert HEARING in step.cautions
    assert plan.cautions == GENERAL
    assert not set(GENERAL) & {c for s in plan.steps for c in s.cautions}


def with_a_blocker(data: dict[str, Any], kind: int) -> dict[str, Any]:
    """Return a chain with a supply far from any rating, ends the wrong way round, or a tweeter without a high-pass."""
    if kind == 0:
        return {**data, "vehicle": {"running": "120 V"}}
    stages = {name: dict(stage) for name, stage in data["stages"].items()}
    if kind == 1:
        amplifier = next(s for s in stages.values() if s["kind"] == "amplifier")
        amplifier.pop("input_ranges", None)
        amplifier["sensitivity"] = "5 .. 0.2 V"
    else:
        speaker = next(s for s in stages.values() if s["kind"] == "speaker")
        speaker["protect_below"] = "9 kHz"
    return {**data, "stages": stages}


@pytest.mark.parametrize("seed", range(3))
def test_a_blocker_ends_the_steps_before_power(seed: int) -> None:
    """With a blocker of any kind no step has power; the steps before it are the same as without."""
    job = drawn(3 * seed)
    data = job.model_dump(by_alias=True, exclude_unset=True)
    blocked = make_plan(Job.model_validate(with_a_blocker(data, seed)))
    free = make_plan(job)
    assert blocked.blocked
    assert {s.system for s in blocked.steps} == {"off"}
    assert [s.id for s in blocked.steps] == [s.id for s in free.steps][: len(blocked.steps)]
    assert free.steps[len(blocked.steps)].id == "power.on"
