"""Pages of class exercises: written by a teacher, worked through by a learner, results as a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Request, UploadFile
from starlette.responses import Response

from gainwright import __version__
from gainwright.app.practice import class_runs
from gainwright.app.practice.limits import limit_words
from gainwright.errors import CallError, GainwrightError
from gainwright.jobfile import examples
from gainwright.jobfile.class_files import (
    LARGEST_CLASS_FILE,
    chain_text,
    exercise_text,
    read_exercise,
    read_result,
    result_text,
)
from gainwright.model.class_exercise import PracticeLimits
from gainwright.quantities import read_plain_number, whole_number
from gainwright.report.class_table import ClassRow
from gainwright.web.form_fields import Sent
from gainwright.web.practice import changes, classes
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.site import CurrentSite
from gainwright.web.work_api import attachment

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)
FIELDS = ("learner", "title", "like", "job", "each", "tests", "minutes", "guesses")
SHOWN = 12
Name = Annotated[str, Form(max_length=200)]


@router.get("/practise/class")
def class_page(request: Request, site: CurrentSite) -> Response:
    """Show the forms of teachers and learners, and what was begun."""
    return _class(request, site)


def _class(
    request: Request, site: Site, *, error: GainwrightError | None = None, typed: Mapping[str, str] | None = None
) -> Response:
    return page(
        request,
        "class.html",
        examples=examples(),
        jobs=site.store.jobs.list()[:SHOWN],
        runs=class_runs.list_runs(site.store)[:SHOWN],
        typed={name: (typed or {}).get(name, "") for name in FIELDS},
        error=error,
    )


@router.post("/practise/class/write")
def write(request: Request, site: CurrentSite, given: Sent) -> Response:
    """Return a new exercise as a file."""
    try:
        made = classes.new_exercise(
            site,
            like=_several(given, "like"),
            jobs=_several(given, "job"),
            title=given.get("title", ""),
            each=_number(given, "each", 50) or 3,
            limits=PracticeLimits(
                tests=_number(given, "tests", 1000), minutes=_minutes(given), guesses=_number(given, "guesses", 100)
            ),
        )
        content = exercise_text(made).encode()
    except GainwrightError as error:
        return _class(request, site, error=error, typed=given)
    return attachment(content, name=f"{made.title or 'class'}.exercise.yaml", media_type="application/yaml")


def _several(given: Mapping[str, str], name: str) -> list[str]:
    return [value for value in given.get(name, "").split(",") if value]


def _number(given: Mapping[str, str], name: str, most: int) -> int | None:
    """Return a whole number from 1, None when none is typed. CallError: something else is."""
    text = given.get(name, "").strip()
    number = whole_number(text, most=most)
    if text and not number:
        raise CallError(
            f"{text[:20]!r} can't be a limit", code="bad_limit", rule=f"it is a whole number from 1 to {most}"
        )
    return number


def _minutes(given: Mapping[str, str]) -> float | None:
    text = given.get("minutes", "").strip()
    if not text:
        return None
    minutes = read_plain_number(text, "min")
    if not 0 < minutes <= 100_000:
        raise CallError(f"{text[:20]!r} can't be a limit", code="bad_limit", rule="it is above 0 minutes")
    return minutes


def _read(file: UploadFile) -> tuple[bytes, str]:
    return file.file.read(LARGEST_CLASS_FILE + 1), file.filename or "file"


@router.post("/practise/class")
def begin(request: Request, site: CurrentSite, file: UploadFile, learner: Name = "") -> Response:
    """Begin an exercise that was handed out."""

    def do() -> str:
        exercise = read_exercise(*_read(file))
        return f"/practise/class/{class_runs.begin_run(site.store, exercise, learner).id}"

    return done_or_shown(do, lambda error: _class(request, site, error=error, typed={"learner": learner}))


@router.get("/practise/class/{run}")
def run_page(request: Request, site: CurrentSite, run: str) -> Response:
    """Show the tasks of a learner, and the result to hand in."""
    kept = class_runs.load_run(site.store, run)
    exercise = class_runs.exercise_of(kept)
    practices = class_runs.practices_of(site.store, kept)
    titles = [site.models.job(chain_text(exercise, task.chain)).title or task.chain for task in exercise.tasks]
    return page(
        request,
        "class_run.html",
        run=kept,
        limited=limit_words(exercise.limits),
        tasks=list(zip(titles, practices, strict=True)),
    )


@router.post("/practise/class/{run}/tasks/{number}")
def task(site: CurrentSite, run: str, number: int) -> Response:
    """Begin a task, or continue it."""
    kept = class_runs.load_run(site.store, run)
    return go_to(changes.address(classes.begin_task(site, kept, number).id))


@router.get("/practise/class/{run}/result.json")
def result(site: CurrentSite, run: str) -> Response:
    """Return the result of a learner as a file."""
    kept = class_runs.load_run(site.store, run)
    content = result_text(class_runs.result_of_run(site.store, kept, program=__version__))
    return attachment(content.encode(), name=f"{kept.learner}.result.json", media_type="application/json")


# ---- the table ---------------------------------------------------------------------------------------------------


@router.post("/practise/class/table")
def table(request: Request, site: CurrentSite, file: UploadFile, results: list[UploadFile]) -> Response:
    """Make the table of a class in the background."""

    def do() -> str:
        exercise = read_exercise(*_read(file))
        read = [read_result(*_read(one)) for one in results[: classes.MOST_RESULTS + 1]]
        return classes.table_address(classes.start_table(site, exercise, read))

    return done_or_shown(do, lambda error: _class(request, site, error=error))


@router.get("/practise/class/table/{table}")
def table_page(request: Request, site: CurrentSite, table: str) -> Response:
    """Show the table of a class, or how far it is."""
    from gainwright.diagnose import Cause, short_name

    kept = classes.load_table(site, table)
    jobs = {chain: site.models.job(chain_text(kept.exercise, chain)) for chain in kept.exercise.chains}

    def words(row: ClassRow) -> str:
        return short_name(Cause(row.cause, row.where), jobs[row.chain])

    return page(request, "class_table.html", id=table, title=kept.title, table=kept.table, words=words, work=kept.work)
