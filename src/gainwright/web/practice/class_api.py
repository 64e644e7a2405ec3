"""Class exercises over HTTP: written and handed out, worked through, results taken in and made a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter
from pydantic import BaseModel, Field
from starlette.responses import Response

from gainwright import __version__
from gainwright.app.practice import class_runs
from gainwright.app.practice.class_exercises import check_result
from gainwright.jobfile.class_files import check_chains, fingerprint
from gainwright.model.class_exercise import MOST_EXERCISES, MOST_SEED, ClassExercise, ClassResult, PracticeLimits, Task
from gainwright.report.class_table import ClassRow, LearnerTotal, class_table_csv
from gainwright.web.background import WorkProgress
from gainwright.web.errors import ERROR_RESPONSES
from gainwright.web.practice import classes
from gainwright.web.practice.api import PracticeShown, practice_shown
from gainwright.web.site import CurrentSite
from gainwright.web.work_api import attachment

if TYPE_CHECKING:
    from gainwright.app.practice.class_runs import ClassRun
    from gainwright.web.site import Site

router = APIRouter(prefix="/api/classes", tags=["classes"], responses=ERROR_RESPONSES)
Short = Annotated[str, Field(max_length=200)]
Seed = Annotated[int, Field(ge=0, le=MOST_SEED)]
Name = Annotated[str, Field(max_length=80)]


class NewExercise(BaseModel):
    """An exercise to write: examples, jobs of this store, and the seeds that hide a fault in each of them.

    Without seeds, `each` are drawn for each chain.
    """

    title: Short = ""
    like: list[Name] = Field(default_factory=list, max_length=MOST_EXERCISES)
    jobs: list[Name] = Field(default_factory=list, max_length=MOST_EXERCISES)
    seeds: list[Seed] = Field(default_factory=list, max_length=MOST_EXERCISES)
    each: int = Field(default=3, ge=1, le=MOST_EXERCISES)
    limits: PracticeLimits = PracticeLimits()


class ExerciseGiven(BaseModel):
    """An exercise that was handed out."""

    exercise: ClassExercise


class ExerciseChecked(BaseModel):
    """What an exercise has, and the fingerprint by which its results are known."""

    title: str
    tasks: list[Task]
    limits: PracticeLimits
    fingerprint: str


class NewRun(ExerciseGiven):
    """A learner who begins an exercise that was handed out."""

    learner: Short


class TaskShown(BaseModel):
    """A task of a learner; `practice` is empty until it is begun, `ended` until it ends."""

    task: int
    chain: str
    practice: str
    ended: str
    tests: int
    minutes: float


class RunShown(BaseModel):
    """A learner's way through an exercise."""

    id: str
    learner: str
    title: str
    begun: str
    limits: PracticeLimits
    tasks: list[TaskShown]


class NewTable(ExerciseGiven):
    """An exercise with the results that were handed in."""

    results: list[ClassResult] = Field(min_length=1, max_length=classes.MOST_RESULTS)


class TableShown(BaseModel):
    """The table of a class; `ready` is false, and it has no rows, until every result was replayed."""

    id: str
    title: str
    ready: bool
    rows: list[ClassRow]
    totals: list[LearnerTotal]
    work: WorkProgress | None


@router.post("/exercises")
def write_exercise(site: CurrentSite, new: NewExercise) -> ClassExercise:
    """Return a new exercise; its JSON is the file to hand out."""
    return classes.new_exercise(
        site, like=new.like, jobs=new.jobs, title=new.title, seeds=new.seeds, each=new.each, limits=new.limits
    )


@router.post("/exercises/check")
def check_exercise(given: ExerciseGiven) -> ExerciseChecked:
    """Check an exercise as `gainwright class check` does: its chains, seeds and limits."""
    exercise = given.exercise
    check_chains(exercise)
    tasks = list(exercise.tasks)
    return ExerciseChecked(title=exercise.title, tasks=tasks, limits=exercise.limits, fingerprint=fingerprint(exercise))


@router.get("/runs")
def list_runs(site: CurrentSite) -> list[RunShown]:
    """Return the exercises that were begun here, last changed first."""
    return [_shown(site, run) for run in class_runs.list_runs(site.store)]


@router.post("/runs", status_code=201)
def begin_run(site: CurrentSite, new: NewRun) -> RunShown:
    """Begin an exercise that was handed out."""
    check_chains(new.exercise)
    return _shown(site, class_runs.begin_run(site.store, new.exercise, new.learner))


@router.get("/runs/{run}")
def get_run(site: CurrentSite, run: str) -> RunShown:
    """Return the tasks of a learner."""
    return _shown(site, class_runs.load_run(site.store, run))


@router.post("/runs/{run}/tasks/{number}")
def begin_task(site: CurrentSite, run: str, number: int) -> PracticeShown:
    """Begin a task, or return it if it was begun; the first is number 1. It goes on under `/api/practices`."""
    return practice_shown(classes.begin_task(site, class_runs.load_run(site.store, run), number - 1))


@router.get("/runs/{run}/result")
def result(site: CurrentSite, run: str) -> ClassResult:
    """Return the result; its JSON is the file to hand in. A task that wasn't begun is empty."""
    return class_runs.result_of_run(site.store, class_runs.load_run(site.store, run), program=__version__)


@router.post("/tables", status_code=202)
def begin_table(site: CurrentSite, new: NewTable) -> TableShown:
    """Take results in and begin to make their table, which replays them; ask for it until it is `ready`."""
    check_chains(new.exercise)
    for one in new.results:
        check_result(new.exercise, one)
    return _table(site, classes.start_table(site, new.exercise, new.results))


@router.get("/tables/{table}")
def get_table(site: CurrentSite, table: str) -> TableShown:
    """Return the table of a class, or how far it is."""
    return _table(site, table)


@router.get("/tables/{table}/table.csv", response_class=Response, responses={200: {"content": {"text/csv": {}}}})
def table_csv(site: CurrentSite, table: str) -> Response:
    """Return the table of a class as CSV; 404 until it is ready."""
    content = class_table_csv(classes.made_table(site, table)).encode()
    return attachment(content, name="class.csv", media_type="text/csv; charset=utf-8")


def _shown(site: Site, run: ClassRun) -> RunShown:
    exercise = class_runs.exercise_of(run)
    begun = class_runs.practices_of(site.store, run)
    tasks = [
        TaskShown(
            task=number,
            chain=task.chain,
            practice=kept.id if kept else "",
            ended=kept.ended if kept else "",
            tests=kept.tests if kept else 0,
            minutes=kept.minutes if kept else 0.0,
        )
        for number, (task, kept) in enumerate(zip(exercise.tasks, begun, strict=True), start=1)
    ]
    about = {name: getattr(run, name) for name in ("id", "learner", "title", "begun")}
    return RunShown(**about, limits=exercise.limits, tasks=tasks)


def _table(site: Site, table: str) -> TableShown:
    kept = classes.load_table(site, table)
    rows, totals = (kept.table.rows, kept.table.totals) if kept.table is not None else ((), ())
    return TableShown(
        id=kept.id,
        title=kept.title,
        ready=kept.table is not None,
        rows=list(rows),
        totals=list(totals),
        work=None if kept.work is None else kept.work.progress,
    )
