"""Class exercises: made by a teacher, worked through by learners, whose results become a table by being replayed."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gainwright.app.practice.limits import refuse_guess, refuse_test
from gainwright.app.practice.practice import GUESS, Practice, best_path, practise, step_of_guess, step_of_test
from gainwright.errors import CallError, GainwrightError
from gainwright.report.class_table import ClassRow, ClassTable
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from gainwright.app.ports import HiddenRigs
    from gainwright.diagnose import Diagnoser
    from gainwright.model.class_exercise import ClassExercise, ClassResult, PracticeLimits

LONGEST_NAME = 80


def make_exercise(
    chains: Mapping[str, Mapping[str, str]],
    *,
    title: str = "",
    seeds: Sequence[int] = (),
    each: int = 3,
    limits: PracticeLimits | None = None,
) -> ClassExercise:
    """Return a class exercise: every chain with every seed, or with some that are drawn.

    Parameters
    ----------
    chains : name -> `{"like": example}` or `{"job": text}`.
    seeds : the same for every chain; without any, `each` are drawn for each chain.

    Raises
    ------
    CallError : there are no chains, or too many tasks, or a value is out of bounds.
    """
    from pydantic import ValidationError

    from gainwright.model.class_exercise import MOST_EXERCISES, ClassExercise, PracticeLimits

    tasks = [
        {"chain": chain, "seed": seed}
        for chain in chains
        for seed in (dict.fromkeys(seeds) or (secrets.randbelow(10**9) for _ in range(max(each, 1))))
    ]
    if not chains or len(tasks) > MOST_EXERCISES:
        raise CallError(
            say("{number} tasks", number=len(tasks)),
            code="bad_exercise",
            rule=say("an exercise has 1 to {most}", most=MOST_EXERCISES),
            remedy=say("choose fewer"),
        )
    try:
        return ClassExercise.model_validate(
            {
                "kind": "class exercise",
                "title": title,
                "chains": chains,
                "tasks": tasks,
                "limits": (limits or PracticeLimits()).model_dump(),
            }
        )
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(map(str, first["loc"]))
        own = first.get("ctx", {}).get("error")
        said = own.args[0] if isinstance(own, ValueError) and own.args else first["msg"]
        raise CallError(said, code="bad_exercise", where=place) from None


def diagnosers_of(exercise: ClassExercise, make: Callable[[str], Diagnoser] | None = None) -> dict[str, Diagnoser]:
    """Return the diagnoser of each chain of an exercise; `make` gives one for the text of a job."""
    from gainwright.app.practice.stored_practices import practice_diagnoser
    from gainwright.jobfile.class_files import chain_text

    made: dict[str, Diagnoser] = {}
    for chain in dict.fromkeys(task.chain for task in exercise.tasks):
        made[chain] = (make or practice_diagnoser)(chain_text(exercise, chain))
    return made


def learner_name(text: str) -> str:
    """Return the name of a learner. CallError: there is none, or it is too long."""
    name = " ".join(text.split())
    if not 1 <= len(name) <= LONGEST_NAME:
        raise CallError(
            say("the name of the learner is missing"),
            code="no_learner",
            rule=say("it has up to {most} letters", most=LONGEST_NAME),
        )
    return name


def result_of(exercise: ClassExercise, learner: str, did: Sequence[Sequence[str]], *, program: str) -> ClassResult:
    """Return the result of a learner, who did these tests and guesses in each task.

    Parameters
    ----------
    program : version of the program.

    Raises
    ------
    CallError : the learner has no name, or one that is too long.
    """
    from gainwright.jobfile.class_files import fingerprint
    from gainwright.model.class_exercise import ClassResult, TaskDone

    name = learner_name(learner)
    tasks = tuple(TaskDone(did=tuple(steps)) for steps in did)
    return ClassResult(
        kind="class result",
        learner=name,
        exercise=fingerprint(exercise),
        title=exercise.title,
        program=program,
        tasks=tasks,
    )


@dataclass
class Replay:
    """A task of an exercise as a learner works through it, live or replayed.

    Attributes
    ----------
    did : tests and guesses so far, as a result file has them.
    named : the last cause and place that were named.
    """

    practice: Practice
    limits: PracticeLimits
    did: list[str] = field(default_factory=list)
    named: tuple[str, str] = ("", "")
    guesses: int = 0
    solved: bool = False

    def test(self, name: str) -> None:
        """Make a test. CallError: there is no such test, or a limit is reached."""
        refuse_test(self.limits, tests=len(self.practice.steps), minutes=self.practice.minutes)
        self.practice.ask(name)
        self.did.append(step_of_test(name))

    def guess(self, cause: str, where: str) -> bool:
        """Name the fault; return whether it was right. CallError: the chain can't have it, or the limit is reached."""
        refuse_guess(self.limits, guesses=self.guesses)
        self.solved = self.practice.guess(cause, where)
        self.guesses, self.named = self.guesses + 1, (cause, where)
        self.did.append(step_of_guess(cause, where))
        return self.solved

    @property
    def ended(self) -> bool:
        """Whether the task is over: solved, or no guess is left."""
        return self.solved or (self.limits.guesses is not None and self.guesses >= self.limits.guesses)


def replay(exercise: ClassExercise, result: ClassResult, number: int, diagnoser: Diagnoser, rigs: HiddenRigs) -> Replay:
    """Return a task as a learner left it, computed anew: a result can't claim what the chain doesn't give.

    Parameters
    ----------
    number : of the task, from 0.

    Raises
    ------
    CallError : a step can't be: another version of the program, or a changed file.
    """
    task = exercise.tasks[number]
    found = Replay(practise(diagnoser.job, rigs=rigs, seed=task.seed, diagnoser=diagnoser), exercise.limits)
    for step in result.tasks[number].did:
        if found.ended:
            raise _not_replayed(result, number, say("{step} comes after the end", step=repr(step)))
        try:
            if step.startswith(GUESS):
                cause, _, where = step.removeprefix(GUESS).partition(" ")
                found.guess(cause, where)
            else:
                found.test(step)
        except GainwrightError as error:
            raise _not_replayed(result, number, error.what) from None
    return found


def _not_replayed(result: ClassResult, number: int, why: str) -> CallError:
    other = say("it was made with version {version}", version=result.program) if result.program else ""
    return CallError(
        say("task {number} can't be replayed: {why}", number=number + 1, why=why),
        code="bad_result",
        where=say("result of {learner}", learner=result.learner),
        rule=other,
    )


def check_result(exercise: ClassExercise, result: ClassResult) -> None:
    """Refuse a result of another exercise. CallError: it is one."""
    from gainwright.jobfile.class_files import fingerprint

    if result.exercise != fingerprint(exercise) or len(result.tasks) != len(exercise.tasks):
        raise CallError(
            say("this is the result of another exercise, {title}", title=result.title)
            if result.title
            else say("this is the result of another exercise"),
            code="other_exercise",
            where=say("result of {learner}", learner=result.learner),
            remedy=say("give the exercise that the learner had"),
        )


def class_table(
    exercise: ClassExercise,
    results: Sequence[ClassResult],
    *,
    rigs: HiddenRigs,
    diagnosers: Mapping[str, Diagnoser],
    on_task: Callable[[int], None] | None = None,
) -> ClassTable:
    """Return the table of a class: each learner's tasks against the short way of the diagnosis.

    Parameters
    ----------
    on_task : called before each task with the number done so far.

    Raises
    ------
    CallError : a result is of another exercise, can't be replayed, or a learner is there twice.
    """
    learners = [result.learner for result in results]
    twice = next((name for name in learners if learners.count(name) > 1), None)
    if twice is not None:
        raise CallError(
            say("there are two results of {learner}", learner=twice),
            code="learner_twice",
            remedy=say("leave one of them out"),
        )
    for result in results:
        check_result(exercise, result)
    rows = []
    for number, task in enumerate(exercise.tasks):
        if on_task is not None:
            on_task(number)
        diagnoser = diagnosers[task.chain]
        done = [replay(exercise, result, number, diagnoser, rigs) for result in results]
        hidden = practise(diagnoser.job, rigs=rigs, seed=task.seed, diagnoser=diagnoser)
        short = best_path(diagnoser.job, rigs=rigs, seed=task.seed, cause=hidden.cause, where=hidden.where)
        rows += [
            ClassRow(
                learner=result.learner,
                task=number + 1,
                chain=task.chain,
                cause=hidden.cause,
                where=hidden.where,
                solved=one.solved,
                named=one.named[0],
                named_where=one.named[1],
                guesses=one.guesses,
                tests=len(one.practice.steps),
                minutes=one.practice.minutes,
                short_way_tests=len(short.steps),
                short_way_minutes=short.minutes,
            )
            for result, one in zip(results, done, strict=True)
        ]
    order = {name: i for i, name in enumerate(sorted(learners, key=str.casefold))}
    rows.sort(key=lambda row: (order[row.learner], row.task))
    return ClassTable(exercise.title, tuple(rows))
