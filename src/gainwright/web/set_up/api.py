"""The plan, the set-up run, the corridor and tones over HTTP."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field
from starlette.responses import Response

from gainwright.app.clock import today
from gainwright.app.jobs import corridor
from gainwright.app.jobs.corridor import parse_settings
from gainwright.app.set_up.run import LONGEST_KEY, LONGEST_TEXT, StepValue, add_entry
from gainwright.app.tones import LONGEST_PLAYED_S, tone_wav
from gainwright.model import TONES_HZ, EntryMapping
from gainwright.plan.result import Expect, Plan
from gainwright.results import from_json
from gainwright.solve.hearing_dose import DayHearing
from gainwright.solve.levels import Levels
from gainwright.web.errors import ERROR_RESPONSES
from gainwright.web.set_up.evaluation import (
    current_run,
    expected,
    hearing_of_day,
    run_evidence,
    run_hearing,
    text_as_set,
)
from gainwright.web.site import Actor, CurrentJob, CurrentSite

if TYPE_CHECKING:
    from gainwright.app.set_up.run import Run
    from gainwright.app.store import RunEntry, StoredJob
    from gainwright.web.site import Site

router = APIRouter(prefix="/api", tags=["set-up run"], responses=ERROR_RESPONSES)


class NewEntry(BaseModel):
    """An entry of a step.

    `text` is a reading as it is typed (`0,35`, `350 mV`, `OL`; `0.3 open` of a lead; `12 3.45` for a row of a column, `lower 12 1.09` for one with the tone 10 dB lower, `34` for the
    last clean step; the marks of an indicator that are lit, or `none`), or the reason of a step that is skipped. `seen` is the number of the step's last
    entry that its writer saw, 0 for none. A reading that would be as expected if its decimal point stood elsewhere is refused with `asked_about`
    and the probable `candidate`, unless `sure` is true. `key` is a random text that the writer makes for this entry: the same entry sent again with it is stored once.
    """

    step: str = Field(max_length=200)
    kind: Literal["reading", "done", "skipped", "taken_back"] = "reading"
    text: str = Field(default="", max_length=LONGEST_TEXT)
    seen: int = Field(ge=0, le=2**31)
    key: str = Field(default="", max_length=LONGEST_KEY)
    sure: bool = False


class RunEntryShown(BaseModel):
    """A stored entry."""

    number: int
    step: str
    kind: str
    text: str
    value: StepValue
    by: str
    at: datetime
    key: str = ""


class StepNow(BaseModel):
    """A step with its state; `number` is its place in the plan, `line` its number on the sheet (empty for a result); `asked` is the kind of reading, empty for none; a row's volts are null over the meter's range; `lower_rows` were read with the tone lower by `lower_db`.

    `expect` is what an open step's reading is judged by: it follows from what was read at its place before, else it is the plan's.
    """

    id: str
    number: int
    line: str
    phase: str
    asked: str
    state: Literal["open", "begun", "done", "skipped"]
    verdict: Literal["fits", "low", "high", "off", ""]
    value: StepValue
    seen: int
    rows: list[tuple[float, float | None]]
    lower_rows: list[tuple[float, float | None]]
    lower_db: float
    expect: Expect | None


class RunNow(BaseModel):
    """A run: its steps, the next one (empty when all are done), all entries, the evidence from them, and the hearing dose of its last day with a tone heard."""

    next: str
    steps: list[StepNow]
    entries: list[RunEntryShown]
    evidence: list[EntryMapping]
    hearing: DayHearing


def _entry(entry: RunEntry) -> RunEntryShown:
    plain = {name: getattr(entry, name) for name in ("number", "step", "kind", "text", "by", "at", "key")}
    return RunEntryShown(**plain, value=from_json(StepValue, dict(entry.value)))


def _steps(site: Site, job: StoredJob, run: Run) -> list[StepNow]:
    return [
        StepNow(
            id=s.step.id,
            number=s.number,
            line=s.label,
            phase=s.step.phase,
            asked=s.asked or "",
            state=s.state,
            verdict=s.verdict,
            value=from_json(StepValue, s.value),
            seen=s.seen,
            rows=list(s.rows),
            lower_rows=list(s.column.lower),
            lower_db=s.column.lower_db,
            expect=expected(site, job, run, s, None) if s.state in ("open", "begun") else None,
        )
        for s in run.steps
    ]


@router.get("/jobs/{job}/plan")
def plan(site: CurrentSite, job: CurrentJob) -> Plan:
    """Return the plan of a job, as `gainwright plan --json` does."""
    return site.models.plan(job.text)


@router.get("/jobs/{job}/run")
def run(site: CurrentSite, job: CurrentJob) -> RunNow:
    """Return the set-up run."""
    now = current_run(site, job)
    entries = [_entry(e) for e in now.entries]
    following = now.next.step.id if now.next is not None else ""
    return RunNow(
        next=following,
        steps=_steps(site, job, now),
        entries=entries,
        evidence=run_evidence(site, job, now),
        hearing=run_hearing(site, job),
    )


@router.get("/hearing")
def hearing(
    site: CurrentSite, day: Annotated[str, Query(max_length=10, description="as 2026-11-28; today when empty")] = ""
) -> DayHearing:
    """Return the hearing dose of the tones of all jobs of a day, as if one person had heard them."""
    return hearing_of_day(site, day or today())


@router.post("/jobs/{job}/run", status_code=201)
def enter(site: CurrentSite, actor: Actor, job: CurrentJob, new: NewEntry) -> RunEntryShown:
    """Store an entry of a step; it is on the disk when this answers. 409 when there is a newer entry than `seen`."""
    now = current_run(site, job)
    entry = add_entry(
        site.store,
        job.id,
        now,
        new.step,
        kind=new.kind,
        text=new.text,
        by=actor,
        seen=new.seen,
        expect=expected(site, job, now, now.of(new.step), None),
        key=new.key,
        sure=new.sure,
    )
    return _entry(entry)


@router.get("/jobs/{job}/levels")
def levels(
    site: CurrentSite,
    job: CurrentJob,
    tone: Annotated[float, Query(description="Hz")],
    level: Annotated[float, Query(description="dBFS, 0 is full scale")] = 0.0,
    sets: Annotated[list[str] | None, Query(alias="set", description="CONTROL=VALUE", max_length=100)] = None,
    stands: Annotated[
        Literal["run", "job"], Query(alias="as", description="the controls as the run or the job has them")
    ] = "run",
) -> Levels:
    """Return the corridor, as `gainwright levels --json` does, with the controls as the run has set them."""
    text = text_as_set(site, job) if stands == "run" else job.text
    return corridor.solve_corridor(site.models.job(text), parse_settings(sets or []), tone_hz=tone, level_dbfs=level)


@router.get("/tones.wav", response_class=Response, responses={200: {"content": {"audio/wav": {}}}})
def tone(
    hz: Annotated[float, Query(ge=TONES_HZ[0], le=TONES_HZ[1])],
    dbfs: Annotated[float, Query(ge=-120, le=0)] = 0.0,
    seconds: Annotated[float, Query(ge=0.1, le=LONGEST_PLAYED_S)] = 30.0,
    sides: Literal["both", "left", "right", "mono"] = "both",
) -> Response:
    """Return a tone as a 16-bit WAV file. It is loud: turn the volume down and the speakers off before playing it."""
    return Response(tone_wav(tone_hz=hz, level_dbfs=dbfs, seconds=seconds, sides=sides), media_type="audio/wav")
