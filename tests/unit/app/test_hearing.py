"""Which tones of a run were heard, for how long, how loud, and what a day's jobs are together."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from typed_run import bay

from gainwright.app.clock import date_of
from gainwright.app.measuring.stored_recordings import mark_recording
from gainwright.app.set_up.hearing import (
    EarTake,
    HeardOfJob,
    HeardTone,
    day_hearing,
    ear_takes,
    heard_tones,
    last_day,
)
from gainwright.app.store import RunEntry, RunKind
from gainwright.errors import CallError
from gainwright.jobfile import example_text, read_job_text
from gainwright.plan import Plan, Step, make_plan
from gainwright.solve import EarLevel
from gainwright.solve.hearing_dose import DayHearing

if TYPE_CHECKING:
    from collections.abc import Callable

NOON = datetime(2026, 11, 27, 12, 0, tzinfo=UTC)
LOUD = "verify.supply"


@pytest.fixture(scope="module")
def plan() -> Plan:
    """The plan of the first example, its one loud step with a time and a pause of the test's own: at most 5 s, then 19 s."""
    made = make_plan(read_job_text(example_text("two_way_and_sub")).job)
    steps = tuple(replace(s, seconds_at_most=5.0, pause_seconds=19.0) if s.id == LOUD else s for s in made.steps)
    return replace(made, steps=steps)


def loud(plan: Plan) -> Step:
    """Return the step with the tone that is heard."""
    return next(s for s in plan.steps if s.id == LOUD)


def run_of(*entries: tuple[str, RunKind, float]) -> list[RunEntry]:
    """Return entries: step, kind, seconds after noon."""
    return [
        RunEntry(i, step, kind, "13.8", {}, "phone", NOON + timedelta(seconds=s))
        for i, (step, kind, s) in enumerate(entries, start=1)
    ]


def times(tones: list[HeardTone]) -> list[tuple[float, float, bool]]:
    """Return least and longest seconds of tones, and whether they are known."""
    return [(t.exposure.seconds_low, t.exposure.seconds_high, t.exposure.timed) for t in tones]


def test_tones_with_the_speakers_off_are_no_dose(plan: Plan) -> None:
    """Of all steps of the plan, each entered once, only the one with connected speakers was heard."""
    every = run_of(*((s.id, "reading", 100.0 * i) for i, s in enumerate(plan.steps)))
    assert [t.step for t in heard_tones(plan, every)] == [LOUD]
    assert heard_tones(plan, run_of((LOUD, "skipped", 0.0))) == []


def test_how_long_a_tone_played(plan: Plan) -> None:
    """Nothing entered before: as long as the step says, and told so. Else since the entry before, with the pauses kept: 5 of 24 s."""
    assert times(heard_tones(plan, run_of((LOUD, "reading", 0)))) == [(2, 5, False)]
    assert times(heard_tones(plan, run_of(("verify.sound", "done", 0), (LOUD, "reading", 240)))) == [(2, 50, True)]
    taken_back = run_of(("verify.sound", "done", 0), (LOUD, "reading", 240), (LOUD, "taken_back", 241))
    assert len(heard_tones(plan, taken_back)) == 1
    yesterday = run_of(("verify.sound", "done", -86_400), (LOUD, "reading", 0))
    assert times(heard_tones(plan, yesterday)) == [(2, 5, False)]


def test_entries_that_a_phone_had_kept_have_the_time_before_all_of_them(plan: Plan) -> None:
    """Three arrive within a second after an hour without a network: the hour may have been spent at any of them."""
    burst = run_of(("lead.measuring", "reading", 0), ("verify.sound", "done", 3600), (LOUD, "reading", 3600.5))
    ((least, most, timed),) = times(heard_tones(plan, burst))
    assert (least, timed) == (2, True)
    assert most == pytest.approx(3600.5 * 5 / 24)


def test_a_recording_at_the_ear_replaces_the_estimate(plan: Plan) -> None:
    """Of the same tone on that day; another tone is one of its own, and another day's changes nothing."""
    step = loud(plan)
    assert step.ear is not None
    entries = run_of(("verify.sound", "done", 0), (LOUD, "reading", 60))
    same = EarTake(NOON, EarLevel(step.ear.tone_hz * 1.005, 71.0, 73.0), 10.0)
    (tone,) = heard_tones(plan, entries, [same])
    assert (tone.exposure.level, tone.exposure.measured) == (same.level, True)
    twice = [*entries, replace(entries[1], number=3, at=NOON + timedelta(seconds=84))]
    assert [t.exposure.seconds_low for t in heard_tones(plan, twice, [same])] == [10.0, 2.0]
    other = replace(same, level=EarLevel(1000.0, 71.0, 73.0))
    alone, estimated = heard_tones(plan, entries, [other])
    assert (alone.step, alone.exposure.seconds_high, alone.exposure.measured) == ("", 10.0, True)
    assert estimated.exposure.level == step.ear
    before = replace(same, at=NOON - timedelta(days=1))
    assert [t.exposure.measured for t in heard_tones(plan, entries, [before])] == [True, False]


def test_the_day_is_the_sum_of_its_jobs(tmp_path: Path) -> None:
    """Two jobs, one of them read twice: three tones, whose doses add; deleted jobs and other days don't count."""
    here = bay(tmp_path)
    other = here.store.jobs.add(title="another", text=example_text("two_way_and_sub"))
    here.enter(LOUD, "13.8")
    entry = here.enter(LOUD, "13.7")
    here.store.runs.add(other.id, step=LOUD, kind="reading", text="13.8", value={}, by="phone", seen=0)
    here.store.runs.add(other.id, step="verify.sound", kind="done", text="", value={}, by="phone", seen=0)

    def of(name: str, day: str = date_of(entry.at)) -> DayHearing:
        stored = here.store.jobs.get(name)
        plans: dict[str, Any] = {"job_of": lambda _: here.job, "plan_of": lambda _: here.plan}
        return day_hearing(here.store, stored, day=day, **plans)

    first, second = of(here.id), of(other.id)
    assert (first.of_job.tones, second.of_job.tones, first.of_day.tones, first.jobs) == (2, 1, 3, 2)
    assert first.of_day == second.of_day
    assert (first.music, second.music) == (False, True)
    together = first.of_job.niosh_percent_high + second.of_job.niosh_percent_high
    assert first.of_day.niosh_percent_high == pytest.approx(together)
    assert of(here.id, "2020-01-01").of_day.tones == 0
    assert last_day(here.plan, here.store.runs.entries(here.id), "2020-01-01") == date_of(entry.at)
    here.store.jobs.put(other.id, "deleted")
    assert of(here.id).of_day.tones == 2
    with pytest.raises(CallError, match="isn't a date"):
        of(here.id, "28.11.2026")
    here.store.close()


def test_other_jobs_are_read_once_until_they_change(tmp_path: Path) -> None:
    """What was heard of another job is kept for the next page of this one; a new entry there, or another text, is seen."""
    here = bay(tmp_path)
    other = here.store.jobs.add(title="another", text=example_text("two_way_and_sub"))
    here.enter(LOUD, "13.8")
    entry = here.store.runs.add(other.id, step=LOUD, kind="reading", text="13.8", value={}, by="phone", seen=0)
    kept: dict[str, HeardOfJob] = {}
    made: list[str] = []

    def keep(known_by: str, make: Callable[[], HeardOfJob]) -> HeardOfJob:
        if known_by not in kept:
            made.append(known_by)
            kept[known_by] = make()
        return kept[known_by]

    def tones() -> int:
        stored, day = here.store.jobs.get(here.id), date_of(entry.at)
        plans: dict[str, Any] = {"job_of": lambda _: here.job, "plan_of": lambda _: here.plan}
        found = day_hearing(here.store, stored, day=day, **plans, kept=keep)
        assert found == day_hearing(here.store, stored, day=day, **plans)
        return found.of_day.tones

    assert [tones(), tones(), len(made)] == [2, 2, 1]
    here.enter(LOUD, "13.7")
    assert [tones(), len(made)] == [3, 1], "a new entry of this job makes nothing else anew"
    here.store.runs.add(other.id, step=LOUD, kind="reading", text="13.9", value={}, by="phone", seen=entry.number)
    assert [tones(), len(made)] == [4, 2]
    here.store.jobs.put(other.id, "deleted")
    assert [tones(), len(made)] == [2, 2]
    here.store.close()


def test_marked_recordings_of_a_microphone_are_levels(tmp_path: Path) -> None:
    """Full at 124 dB, -30 dBFS at 1 kHz is 94 dB, what a sound calibrator of class 1 gives (IEC 60942); processed ones, and those not marked, say nothing."""
    here = bay(tmp_path)
    text = example_text("two_way_and_sub").replace("kind: recorder,", "kind: recorder, full_scale_sound: 124 dB,", 1)
    job = read_job_text(text).job
    channel = {"frequency_hz": 1000.0, "rms_dbfs": -30.0, "seconds": 4.0, "verdict": "clean"}
    ids = [
        here.store.recordings.add(
            here.id, name="take", content=b"", measured={"channels": [channel], "about": about}
        ).id
        for about in ({}, {}, {"processing": ["auto_gain"]})
    ]
    for recording in ids[1:]:
        mark_recording(here.store, here.id, recording, "at_ear")
    stored = here.store.jobs.get(here.id)
    (take,) = ear_takes(here.store, stored, job)
    assert take.level.level_dba_low == pytest.approx(94.0)
    assert take.level.level_dba_high == pytest.approx(94.0)
    assert take.seconds == 4.0
    assert ear_takes(here.store, stored, here.job) == []
    mark_recording(here.store, here.id, ids[1], "not_at_ear")
    assert ear_takes(here.store, stored, job) == []
    here.store.close()
