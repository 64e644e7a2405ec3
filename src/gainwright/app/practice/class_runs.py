"""A learner's way through a class exercise, stored so that it is continued later: a practice for each task that was begun."""

from __future__ import annotations

import secrets
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

from gainwright.app.clock import today
from gainwright.app.document_changes import change_document
from gainwright.app.practice.class_exercises import learner_name, result_of
from gainwright.app.practice.stored_practices import KIND as PRACTICE
from gainwright.app.practice.stored_practices import StoredPractice, begin_practice, load_practice
from gainwright.errors import CallError
from gainwright.results import from_json
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.app.ports import HiddenRigs
    from gainwright.app.store import Store
    from gainwright.diagnose import Diagnoser
    from gainwright.model.class_exercise import ClassExercise, ClassResult, Task

KIND = "class run"


@dataclass(frozen=True, slots=True)
class ClassRun:
    """A learner and an exercise.

    Attributes
    ----------
    exercise : its file, YAML.
    practices : id of the practice of each task, empty for those that weren't begun.
    """

    id: str
    learner: str
    title: str
    exercise: str
    begun: str
    practices: tuple[str, ...]


def begin_run(store: Store, exercise: ClassExercise, learner: str) -> ClassRun:
    """Begin an exercise. CallError: the learner has no name."""
    from gainwright.jobfile.class_files import exercise_text

    run = ClassRun(
        secrets.token_urlsafe(9),
        learner_name(learner),
        exercise.title,
        exercise_text(exercise),
        today(),
        ("",) * len(exercise.tasks),
    )
    store.documents.put(KIND, run.id, asdict(run))
    return run


def load_run(store: Store, run: str) -> ClassRun:
    """Return a run. CallError: there is none."""
    document = store.documents.get(KIND, run)
    if document is None:
        raise CallError(
            say("there is no such class exercise here"), code="no_such_run", remedy=say("upload the exercise")
        )
    return read_run(document)


def list_runs(store: Store) -> list[ClassRun]:
    """Return all runs, last changed first."""
    return [read_run(document) for _, document in store.documents.list(KIND)]


def read_run(document: dict[str, Any]) -> ClassRun:
    """Return a run as it is stored. ValueError: it isn't one."""
    return from_json(ClassRun, document)


def exercise_of(run: ClassRun) -> ClassExercise:
    """Return the exercise of a run."""
    from gainwright.jobfile.class_files import read_exercise

    return read_exercise(run.exercise.encode())


def task_of(exercise: ClassExercise, number: int) -> Task:
    """Return a task of an exercise; `number` is from 0. CallError: there is no such task."""
    if not 0 <= number < len(exercise.tasks):
        raise CallError(
            say("there is no such task"),
            code="no_such_task",
            rule=say("there are {number}", number=len(exercise.tasks)),
        )
    return exercise.tasks[number]


def practices_of(store: Store, run: ClassRun) -> list[StoredPractice | None]:
    """Return the practice of each task, None for those that weren't begun."""
    return [load_practice(store, practice) if practice else None for practice in run.practices]


def begin_task(store: Store, run: ClassRun, number: int, *, rigs: HiddenRigs, diagnoser: Diagnoser) -> StoredPractice:
    """Return the practice of a task, begun if it wasn't yet; `number` is from 0. CallError: there is no such task."""
    from gainwright.jobfile.class_files import chain_text

    exercise = exercise_of(run)
    task = task_of(exercise, number)
    if run.practices[number]:
        return load_practice(store, run.practices[number])
    kept = begin_practice(
        store,
        title=diagnoser.job.title or task.chain,
        job=chain_text(exercise, task.chain),
        seed=task.seed,
        rigs=rigs,
        diagnoser=diagnoser,
        limits=exercise.limits,
        run=run.id,
    )
    begun = _note_begun(store, run, number, kept.id)
    if begun != kept.id:  # the same task was begun twice at once: the first counts
        store.documents.remove(PRACTICE, kept.id)
    return load_practice(store, begun)


def _note_begun(store: Store, run: ClassRun, number: int, practice: str) -> str:
    """Note the practice of a task in its run, unless one was noted meanwhile; return the one that is noted."""

    def change(document: dict[str, Any] | None) -> dict[str, Any]:
        now = run if document is None else read_run(document)
        begun = [there or practice if i == number else there for i, there in enumerate(now.practices)]
        return asdict(replace(now, practices=tuple(begun)))

    return str(change_document(store.documents, KIND, run.id, change)["practices"][number])


def result_of_run(store: Store, run: ClassRun, *, program: str) -> ClassResult:
    """Return the result to hand in; a task that wasn't begun is empty."""
    did = [[] if kept is None else [t.step for t in kept.tried] for kept in practices_of(store, run)]
    return result_of(exercise_of(run), run.learner, did, program=program)
