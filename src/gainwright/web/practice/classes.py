"""Class exercises of a server: from its examples and jobs, tasks as practices, and tables made in the background."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.app.practice import class_runs
from gainwright.app.practice.class_exercises import class_table, diagnosers_of, make_exercise
from gainwright.errors import CallError
from gainwright.jobfile.class_files import chain_text, check_chains, exercise_text, read_exercise
from gainwright.report.class_table import ClassRow, ClassTable
from gainwright.results import to_json
from gainwright.texts import say
from gainwright.web.practice import changes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.app.practice.class_runs import ClassRun
    from gainwright.app.practice.stored_practices import StoredPractice
    from gainwright.model.class_exercise import ClassExercise, ClassResult, PracticeLimits
    from gainwright.web.background import Work
    from gainwright.web.site import Site

TABLE = "class table"
MOST_RESULTS = 200


def new_exercise(
    site: Site,
    *,
    like: Sequence[str],
    jobs: Sequence[str],
    title: str,
    each: int,
    limits: PracticeLimits,
    seeds: Sequence[int] = (),
) -> ClassExercise:
    """Return a class exercise on examples, and on jobs of the store, of which it has the texts.

    Raises
    ------
    CallError, JobError : there is no such job or example, no chain, too many tasks, or a chain that isn't a valid job.
    """
    chains: dict[str, dict[str, str]] = {name: {"like": name} for name in like}
    for job in jobs:
        stored = site.store.jobs.get(job)
        name = (stored.title or stored.id)[:40]
        chains[f"{name[:27]} {stored.id}"[:40] if name in chains else name] = {"job": stored.text}
    made = make_exercise(chains, title=title[:200], seeds=seeds, each=each, limits=limits)
    check_chains(made)
    return made


def begin_task(site: Site, run: ClassRun, number: int) -> StoredPractice:
    """Return the practice of a task, begun if it wasn't yet; `number` is from 0. CallError: there is no such task."""
    exercise = class_runs.exercise_of(run)
    chain = class_runs.task_of(exercise, number).chain
    diagnoser = changes.diagnoser_of(site, chain_text(exercise, chain))
    return class_runs.begin_task(site.store, run, number, rigs=site.world.hidden_rigs, diagnoser=diagnoser)


@dataclass(frozen=True, slots=True)
class KeptTable:
    """A table of a class.

    Attributes
    ----------
    table : None until it is made.
    work : the work that makes it; None when it is no longer listed.
    """

    id: str
    title: str
    exercise: ClassExercise
    table: ClassTable | None
    work: Work | None


def table_address(table: str) -> str:
    """Return the address of a table's page."""
    return f"/practise/class/table/{table}"


def start_table(site: Site, exercise: ClassExercise, results: Sequence[ClassResult]) -> str:
    """Start making the table of a class; return its id.

    Raises
    ------
    CallError, JobError : too many results, or a chain can't be read.
    """
    if len(results) > MOST_RESULTS:
        raise CallError(say("over {number} results", number=MOST_RESULTS), code="too_many")
    table, diagnosers = secrets.token_urlsafe(9), diagnosers_of(exercise, lambda text: changes.diagnoser_of(site, text))
    text = exercise_text(exercise)
    site.store.documents.put(TABLE, table, {"title": exercise.title, "exercise": text, "rows": None})

    def do(work: Work) -> None:
        made = class_table(
            exercise,
            results,
            rigs=site.world.hidden_rigs,
            diagnosers=diagnosers,
            on_task=lambda done: work.report(done / len(exercise.tasks), say("after {done} tasks", done=done)),
        )
        content = {"title": made.title, "exercise": text, "rows": [to_json(row) for row in made.rows]}
        site.store.documents.put(TABLE, table, content)

    title = say("Table of a class: {title}", title=exercise.title)
    site.background.start(title, do, back=table_address(table), long=True)
    return table


def load_table(site: Site, table: str) -> KeptTable:
    """Return a table. CallError: there is none."""
    document = site.store.documents.get(TABLE, table)
    if document is None:
        raise CallError(say("there is no such table"), code="no_such_table", remedy=say("upload the results again"))
    rows = document["rows"]
    made = None if rows is None else ClassTable(document["title"], tuple(ClassRow(**row) for row in rows))
    work = next((work for work in site.background.list() if work.back == table_address(table)), None)
    return KeptTable(table, document["title"], read_exercise(document["exercise"].encode()), made, work)


def made_table(site: Site, table: str) -> ClassTable:
    """Return a table that is made. CallError: there is none, or not yet."""
    made = load_table(site, table).table
    if made is None:
        raise CallError(say("the table isn't ready yet"), code="no_such_file", remedy=say("wait until it is done"))
    return made
