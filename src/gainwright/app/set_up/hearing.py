"""What was heard in set-up runs: tones with connected speakers, how loud and how long, summed over a job and over a day."""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING

from gainwright.app.clock import date_of, no_date, read_date
from gainwright.app.measuring.stored_recordings import list_recordings
from gainwright.errors import GainwrightError
from gainwright.model import Recorder
from gainwright.solve.ear_level import EarLevel, peak_with_harmonic_dbc
from gainwright.solve.hearing_dose import DayHearing, Exposure, hearing_dose

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gainwright.app.store import RunEntry, Store, StoredJob, StoredRecording
    from gainwright.model import Job
    from gainwright.plan import Plan, Step

LEAST_S = 2.0
"""The least time in which a meter settles and is read (common practice, no published source)."""
SAME_TONE = 0.01
"""Two frequencies are one tone if they differ by less, as a ratio: what `measure` accepts as the tone asked for."""
ON_LOAD = "verify.supply"
"""The step that plays a tone into connected speakers; a job that has changed since may have none."""
MUSIC = ("verify.sound", "verify.polarity")
"""Steps at which music is listened to."""


@dataclass(frozen=True, slots=True)
class HeardTone:
    """A tone that was heard in a run: the step, when it was entered, the exposure."""

    step: str
    at: datetime
    exposure: Exposure


@dataclass(frozen=True, slots=True)
class EarTake:
    """A recording at the ear with a microphone of known full scale: when, which tone, how loud, how long."""

    at: datetime
    level: EarLevel
    seconds: float


@dataclass(frozen=True, slots=True)
class HeardOfJob:
    """What was heard of one job on a day: tones; whether music was; entries at the loud step that its plan no longer has."""

    exposures: tuple[Exposure, ...]
    music: bool
    gone: int


def heard_tones(plan: Plan, entries: Sequence[RunEntry], takes: Sequence[EarTake] = ()) -> list[HeardTone]:
    """Return the tones that a run's entries say were heard, in order; entries that were taken back were heard too.

    How long each played isn't noted: at least as long as a meter needs; at most, with the pauses that its step asks for,
    since the entry before on that day, where there is one. Entries that a phone had kept arrive all at once, so the time
    since the last one before all of them counts. A recording at the ear of the same tone on that day takes the estimate's
    place; one without an entry is a tone of its own.
    """
    loud = {step.id: step for step in plan.steps if step.ear is not None}
    found, used = list[HeardTone](), set[int]()
    for i, entry in enumerate(entries):
        if entry.step not in loud or entry.kind not in ("reading", "done"):
            continue
        exposure = _exposure(loud[entry.step], _since_s(entries, i))
        for number, take in enumerate(takes):
            if date_of(take.at) == date_of(entry.at) and _same_tone(take.level, exposure.level):
                played = take.seconds if number not in used else 0.0  # at least once as long as it was recorded
                used.add(number)
                low, high = max(exposure.seconds_low, played), max(exposure.seconds_high, played)
                exposure = replace(exposure, level=take.level, measured=True, seconds_low=low, seconds_high=high)
        found.append(HeardTone(entry.step, entry.at, exposure))
    alone = [t for number, t in enumerate(takes) if number not in used]
    found += [HeardTone("", t.at, Exposure(t.level, t.seconds, t.seconds, measured=True)) for t in alone]
    return sorted(found, key=lambda tone: tone.at)


def _same_tone(one: EarLevel, other: EarLevel) -> bool:
    return abs(one.tone_hz / other.tone_hz - 1) < SAME_TONE


def _since_s(entries: Sequence[RunEntry], number: int) -> float | None:
    """Return how long before an entry the last one was made that didn't arrive together with it, s; None without one on that day."""
    entry, after = entries[number], entries[number].at
    for earlier in reversed(entries[:number]):
        if date_of(earlier.at) != date_of(entry.at):
            return None
        if (after - earlier.at).total_seconds() >= LEAST_S:
            return (entry.at - earlier.at).total_seconds()
        after = earlier.at
    return None


def _exposure(step: Step, since_s: float | None) -> Exposure:
    assert step.ear is not None  # noqa: S101  callers choose steps with a level
    at_a_time = step.seconds_at_most or LEAST_S
    if since_s is None:
        return Exposure(step.ear, min(LEAST_S, at_a_time), at_a_time, timed=False)
    most = since_s * at_a_time / (at_a_time + (step.pause_seconds or 0.0))
    return Exposure(step.ear, LEAST_S, max(most, LEAST_S))


def ear_takes(store: Store, stored: StoredJob, job: Job) -> list[EarTake]:
    """Return the recordings of a job that somebody marked as made at the ear; none without a microphone of known full scale.

    One that was processed while it was recorded has no reliable level, and one without a tone says nothing of a step.
    """
    known = [
        i.full_scale_sound
        for i in job.instruments.values()
        if isinstance(i, Recorder) and i.full_scale_sound is not None and i.full_scale_sound.known
    ]
    if not known:
        return []
    marked = [k.recording for k in list_recordings(store, stored.id) if k.at_ear and not k.removed]
    return [take for recording in marked if (take := _take(recording, *known[0].interval)) is not None]


def _take(recording: StoredRecording, low_db: float, high_db: float) -> EarTake | None:
    from gainwright import physics

    if (recording.measured.get("about") or {}).get("processing"):
        return None
    for channel in recording.measured.get("channels", []):
        tone_hz, level_dbfs = channel.get("frequency_hz"), channel.get("rms_dbfs")
        if tone_hz and level_dbfs is not None and channel.get("verdict") in ("clean", "clipped", "distorted"):
            low, high = (
                float(physics.a_weighted_level_dba(level_db=db + level_dbfs, frequency_hz=tone_hz))
                for db in (low_db, high_db)
            )
            peak_dbc = peak_with_harmonic_dbc(high_db + level_dbfs, tone_hz)
            level = EarLevel(tone_hz, low, high, peak_dbc_high=peak_dbc)
            return EarTake(recording.at, level, float(channel.get("seconds") or 0.0))
    return None


def day_hearing(
    store: Store,
    stored: StoredJob | None,
    *,
    day: str,
    job_of: Callable[[StoredJob], Job],
    plan_of: Callable[[StoredJob], Plan],
    kept: Callable[[str, Callable[[], HeardOfJob]], HeardOfJob] = lambda _, make: make(),
) -> DayHearing:
    """Return the doses of a day: of one job, and of all jobs of the store.

    Parameters
    ----------
    stored : the job; None for the day alone.
    day : as `2026-11-28`, in the time zone of this machine.
    job_of, plan_of : make, or have kept, the job and the plan of a stored job.
    kept : makes, or has kept under a text that says all it depends on, what was heard of another job: a day has many, whose
        entries are read for each page of this one otherwise.

    Raises
    ------
    CallError : that is no date.
    """
    begin, end = _bounds(day)
    entered = store.runs.jobs_between(begin, end)
    heard: dict[str, HeardOfJob] = {}
    for name in dict.fromkeys([*([stored.id] if stored is not None else []), *entered]):
        other = store.jobs.get(name)
        try:
            takes = [t for t in ear_takes(store, other, job_of(other)) if begin <= t.at < end]
        except GainwrightError:  # a job file that this version can't read
            takes = None
        make = functools.partial(_heard_of_job, store, other, begin, end, takes, plan_of)
        of_this = stored is not None and name == stored.id
        heard[name] = make() if of_this else kept(f"{name} {day} {entered[name]} {takes}\n{other.text}", make)
    own = None if stored is None else heard[stored.id]
    return DayHearing(
        day,
        hearing_dose(() if own is None else own.exposures),
        hearing_dose(e for found in heard.values() for e in found.exposures),
        sum(bool(found.exposures) for found in heard.values()),
        own is not None and own.music,
        sum(found.gone for found in heard.values()),
    )


def _heard_of_job(
    store: Store,
    stored: StoredJob,
    begin: datetime,
    end: datetime,
    takes: Sequence[EarTake] | None,
    plan_of: Callable[[StoredJob], Plan],
) -> HeardOfJob:
    """Return what was heard of a job on a day; `takes` is None for a job file that this version can't read."""
    mine = [e for e in store.runs.entries(stored.id) if begin <= e.at < end]
    music = any(e.step in MUSIC and e.kind == "done" for e in mine)
    if takes is not None and not takes and not any(e.step == ON_LOAD for e in mine):  # no plan is made for nothing
        return HeardOfJob((), music, 0)
    loud = sum(e.step == ON_LOAD and e.kind == "reading" for e in mine)
    try:
        plan = None if takes is None else plan_of(stored)
    except GainwrightError:
        plan = None
    if plan is None:
        return HeardOfJob((), music, loud)
    gone = 0 if any(s.id == ON_LOAD for s in plan.steps) else loud
    return HeardOfJob(tuple(tone.exposure for tone in heard_tones(plan, mine, takes or ())), music, gone)


def _bounds(day: str) -> tuple[datetime, datetime]:
    """Return when a day begins and ends in the time zone of this machine."""
    date = read_date(day, where="day")
    try:
        begin, end = (datetime.combine(d, time()).astimezone() for d in (date, date + timedelta(days=1)))
    except (ValueError, OverflowError):  # one of the first or last days that there are
        raise no_date(day, where="day") from None
    return begin, end


def last_day(plan: Plan, entries: Sequence[RunEntry], today: str) -> str:
    """Return the day of a run whose dose is shown: the last one with an entry at a tone that is heard, else today."""
    loud = {step.id for step in plan.steps if step.ear is not None}
    return next((date_of(e.at) for e in reversed(entries) if e.step in loud), today)
