"""Stored practices, which can be resumed after a reload, another day, or on another device."""

from __future__ import annotations

import secrets
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from gainwright.app.clock import today
from gainwright.app.document_changes import change_document
from gainwright.app.practice.limits import refuse_test
from gainwright.app.practice.practice import (
    Practice,
    PracticeTest,
    practise,
    step_of_guess,
    step_of_test,
    with_gains_set,
)
from gainwright.app.practice.review import PracticeReview, explain_results, repaired_levels
from gainwright.errors import CallError
from gainwright.model.case import NO_FAULT
from gainwright.results import from_json, to_json
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.app.ports import HiddenRigs
    from gainwright.app.store import Store, StoredDocument
    from gainwright.diagnose import Diagnoser
    from gainwright.diagnose.candidates import Candidate
    from gainwright.model.class_exercise import PracticeLimits

KIND = "practice"
MOST_SEED = 10**9
CORRECT, NOT_IT = say("correct"), say("not the fault")
HALF_RIGHT = say("the chain is healthy, but not for this reason")
Ended = Literal["", "solved", "given up", "no guess left"]


@dataclass(frozen=True, slots=True)
class PracticeAttempt:
    """A test that was made, or a guess.

    Attributes
    ----------
    name : of the test; empty for a guess.
    where : the place, by which tests are grouped.
    right : of a guess, whether it was the fault.
    step : the test or guess as a class result has it.
    """

    name: str
    ask: str
    minutes: float
    found: str
    where: str = ""
    right: bool | None = None
    step: str = ""


@dataclass(frozen=True, slots=True)
class StoredPractice:
    """A practice as it is stored; cause and where are the hidden fault.

    Attributes
    ----------
    call, called : the caller's report, in words and as entries.
    tried, entries : tests and guesses in words, and the tests' entries.
    short_way : the path that the diagnosis takes, once it was computed.
    limits, run : of a task of a class exercise, its limits and the id of the learner's run.
    revision : of the document, as it was read; 0 of a practice that isn't stored yet. It isn't stored itself.
    review : what each result showed and the levels, once they were computed.
    """

    id: str
    title: str
    job: str
    seed: int
    begun: str
    cause: str
    where: str
    call: tuple[str, ...]
    called: tuple[dict[str, Any], ...]
    tried: tuple[PracticeAttempt, ...] = ()
    entries: tuple[dict[str, Any], ...] = ()
    ended: Ended = ""
    short_way: tuple[PracticeAttempt, ...] | None = None
    review: PracticeReview | None = None
    limits: dict[str, Any] | None = None
    run: str = ""
    revision: int = 0

    @property
    def tests(self) -> int:
        """How many tests were made."""
        return len(self.entries)

    @property
    def guesses(self) -> int:
        """How often the fault was named."""
        return len(self.tried) - self.tests

    @property
    def allowed(self) -> PracticeLimits:
        """The limits."""
        from gainwright.model.class_exercise import PracticeLimits

        return PracticeLimits.model_validate(self.limits or {})

    @property
    def minutes(self) -> float:
        """Minutes that they took."""
        return sum(t.minutes for t in self.tried)


def begin_practice(
    store: Store,
    *,
    title: str,
    job: str,
    seed: int | None,
    rigs: HiddenRigs,
    diagnoser: Diagnoser,
    limits: PracticeLimits | None = None,
    run: str = "",
) -> StoredPractice:
    """Hide a fault in a job's chain and store the practice.

    Parameters
    ----------
    job : text of a job file.
    seed : the same number hides the same fault; drawn when None.
    diagnoser : of the job in use.
    limits, run : of a task of a class exercise.
    """
    from gainwright.model import as_mapping

    seed = secrets.randbelow(MOST_SEED) if seed is None else seed
    practice = practise(diagnoser.job, rigs=rigs, seed=seed, diagnoser=diagnoser)
    kept = StoredPractice(
        secrets.token_urlsafe(9),
        title,
        job,
        seed,
        today(),
        practice.cause,
        practice.where,
        tuple(practice.call),
        tuple(as_mapping(e) for e in practice.entries),
        limits=None if limits is None else limits.model_dump(exclude_none=True),
        run=run,
    )
    return keep_practice(store, kept)


def keep_practice(store: Store, kept: StoredPractice) -> StoredPractice:
    """Store a practice and return it at its new revision. ConflictError: it was changed since it was read."""
    content = {name: value for name, value in asdict(kept).items() if name != "revision"}
    return replace(kept, revision=store.documents.put(KIND, kept.id, content, seen=kept.revision))


def load_practice(store: Store, practice: str) -> StoredPractice:
    """Return a stored practice. CallError: there is none."""
    found = store.documents.read(KIND, practice)
    if found is None:
        raise _no_such_practice()
    return _read(found)


def _read(found: StoredDocument) -> StoredPractice:
    return replace(read_practice(found.content), revision=found.revision)


def _no_such_practice() -> CallError:
    return CallError("there is no such practice", code="no_such_practice", remedy="start one")


def list_practices(store: Store) -> list[StoredPractice]:
    """Return all practices, last changed first."""
    return [_read(found) for found in store.documents.all(KIND)]


def read_practice(document: dict[str, Any]) -> StoredPractice:
    """Return a practice as it is stored. ValueError: it isn't one."""
    return from_json(StoredPractice, document)


def resume(kept: StoredPractice, *, rigs: HiddenRigs, diagnoser: Diagnoser) -> Practice:
    """Return the practice, resumed."""
    from gainwright.jobfile import read_entry

    job = diagnoser.job
    rig = rigs.hidden(job, seed=kept.seed, cause=kept.cause, where=kept.where)
    entries = [read_entry(dict(e), job) for e in (*kept.called, *kept.entries)]
    steps = [PracticeTest(t.ask, t.minutes, t.found) for t in kept.tried if t.name]
    return Practice(job, rig, diagnoser, kept.cause, kept.where, entries, steps, list(kept.call))


def ask(store: Store, kept: StoredPractice, practice: Practice, name: str) -> StoredPractice:
    """Make a test and store the result.

    Raises
    ------
    ConflictError : the practice was changed since it was read; nothing was written.
    CallError : there is no such test now, a limit is reached, or the practice has ended.
    """
    from gainwright.model import as_mapping

    _going(kept)
    refuse_test(kept.allowed, tests=kept.tests, minutes=kept.minutes)
    done = practice.ask(name)
    tried = PracticeAttempt(name, done.ask, done.minutes, done.found, done.where, step=step_of_test(name))
    entry = as_mapping(practice.entries[-1])
    return keep_practice(store, replace(kept, tried=(*kept.tried, tried), entries=(*kept.entries, entry)))


def guess(store: Store, kept: StoredPractice, diagnoser: Diagnoser, *, cause: str, where: str) -> StoredPractice:
    """Name the fault.

    Raises
    ------
    ConflictError : the practice was changed since it was read; nothing was written.
    CallError : the chain can't have such a cause, no guess is left, or the practice has ended.
    """
    from gainwright.app.cases.dialogue import check_cause
    from gainwright.diagnose import Cause, short_name

    _going(kept)
    check_cause(diagnoser, cause, where)
    right = (cause, where) == (kept.cause, kept.where)
    half = cause in NO_FAULT and kept.cause in NO_FAULT
    verdict = CORRECT if right else HALF_RIGHT if half else NOT_IT
    name = short_name(Cause(cause, where), diagnoser.job)
    tried = PracticeAttempt("", name, 0.0, verdict, right=right, step=step_of_guess(cause, where))
    limit = kept.allowed.guesses
    last = limit is not None and kept.guesses + 1 >= limit
    ended: Ended = "solved" if right else "no guess left" if last else ""
    return keep_practice(store, replace(kept, tried=(*kept.tried, tried), ended=ended))


def give_up(store: Store, kept: StoredPractice) -> StoredPractice:
    """End a practice without the answer. CallError: it has ended. ConflictError: it was changed since it was read."""
    _going(kept)
    return keep_practice(store, replace(kept, ended="given up"))


def keep_short_way(store: Store, practice: str, best: Practice, review: PracticeReview) -> StoredPractice:
    """Store the path that the diagnosis takes, and the review, with what the practice has become meanwhile."""
    short = tuple(PracticeAttempt("-", step.ask, step.minutes, step.found) for step in best.steps)
    found = {"short_way": to_json(short), "review": to_json(review)}
    change_document(store.documents, KIND, practice, lambda there: {**_there(there), **found})
    return load_practice(store, practice)


def _there(document: dict[str, Any] | None) -> dict[str, Any]:
    if document is None:
        raise _no_such_practice()
    return document


def review_practice(going: Practice, tests: int, *, on_step: Callable[[int], None] | None = None) -> PracticeReview:
    """Return the review of a practice in its present state; `tests` is how many of its entries are the learner's."""
    split = len(going.entries) - tests
    truth = (going.cause, going.where)
    told = explain_results(going.diagnoser, going.entries[:split], going.entries[split:], truth, on_step=on_step)
    return PracticeReview(told, repaired_levels(going.job, going.rig))


def _going(kept: StoredPractice) -> None:
    if kept.ended:
        raise CallError(f"this practice has ended: {kept.ended}", code="practice_ended", remedy="start another")


def tests_by_place(practice: Practice) -> dict[str, list[tuple[str, Candidate]]]:
    """Return the tests that can be made now: the stages in signal order, then leads, then instruments."""
    from gainwright.model import stages_at, stages_of

    order = [*practice.diagnoser.chain.wiring.order, "Leads", "Instruments"]
    groups: dict[str, list[tuple[str, Candidate]]] = {name: [] for name in order}
    for name, candidate in practice.tests().items():
        where = candidate.where
        stage = "Leads" if where.startswith("lead:") else stages_of(practice.diagnoser.job, stages_at(where)[0])[0]
        groups[stage if stage in groups else "Instruments"].append((name, candidate))
    return {name: tests for name, tests in groups.items() if tests}


def practice_diagnoser(text: str) -> Diagnoser:
    """Return the diagnoser for practice on a job. JobError: the text isn't a valid job."""
    from gainwright.diagnose import Diagnoser
    from gainwright.jobfile import read_job_text

    return Diagnoser(with_gains_set(read_job_text(text).job))
