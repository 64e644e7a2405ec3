"""Finding the fault: all at once from an evidence file, or a dialogue that is kept as a case; and what cases add up to."""

from __future__ import annotations

import datetime
from collections import Counter
from statistics import median
from typing import TYPE_CHECKING

from gainwright.app.cases.dialogue import Dialogue
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from gainwright.app.ports import CaseStore
    from gainwright.diagnose import Diagnosis
    from gainwright.model import Case, Job
    from gainwright.report import CaseCounts


def diagnose(
    job_path: Path, evidence: Path | None, *, unreachable: Sequence[str] = (), closed: Mapping[str, int] | None = None
) -> tuple[Job, Diagnosis]:
    """Read a job and its evidence and return what is probably wrong, and the next test.

    Raises
    ------
    JobError : the job or the evidence can't be read.
    CallError : a place that the job doesn't have.
    """
    from gainwright.jobfile import read_evidence, read_job

    job = read_job(job_path).job
    entries = () if evidence is None else read_evidence(evidence, job)
    check_unreachable(unreachable, job)
    from gainwright.diagnose import Diagnoser, tell

    return job, tell(Diagnoser(job, closed=closed), entries, frozenset(unreachable))


def check_unreachable(places: Sequence[str], job: Job) -> None:
    """Refuse places that a job doesn't have.

    Raises
    ------
    CallError : one of them is no stage and no lead.
    """
    from gainwright.model import resolve, wires

    known = [*job.stages, *wires(resolve(job))]
    for place in places:
        if place not in known:
            raise CallError(
                f"there is no stage or lead {place}",
                code="unknown_place",
                where="--cant-reach",
                rule=f"there is {', '.join(known[:12])}{' ...' if len(known) > 12 else ''}",
            )


def open_dialogue(
    job_path: Path | None, *, name: str, store: CaseStore | None, closed: Mapping[str, int] | None = None
) -> Dialogue:
    """Return a dialogue: the kept one of that name, else a new one about a job.

    Raises
    ------
    JobError : the job or the kept case can't be read.
    CallError : neither a job nor a kept case is named, or the case belongs to another job.
    """
    kept = _kept(name, store)
    if kept is None and job_path is None:
        raise CallError(
            "no job is named" if not name else f"there is no case {name}",
            code="no_job",
            remedy="name a job file, or a case that was begun",
        )
    if job_path is None:
        assert kept is not None  # noqa: S101  one of the two is there
        return Dialogue.of(kept, closed_counts=closed)
    from gainwright.jobfile import read_job

    read = read_job(job_path)
    if kept is not None:
        dialogue = Dialogue.of(kept, closed_counts=closed)
        # the job may have been mended since; what was read stays
        dialogue.job_text = read.text
        return dialogue
    today = datetime.datetime.now(tz=datetime.UTC).date().isoformat()
    return Dialogue(read.text, read.job.title, today, closed)


def _kept(name: str, store: CaseStore | None) -> Case | None:
    """Return the case of a name, None when there is none yet; a name that can't be one is refused at once."""
    if store is None or not name:
        return None
    try:
        return store.load(name)
    except CallError as error:
        if error.code == "no_such_case":
            return None
        raise


def count_cases(store: CaseStore) -> CaseCounts:
    """Return what the cases of a store add up to.

    Raises
    ------
    CallError, JobError : the store or a case in it can't be read.
    """
    return counts_of({name: store.load(name) for name in store.names()})


def counts_of(cases: Mapping[str, Case]) -> CaseCounts:
    """Return what some cases by name add up to."""
    from gainwright.report import CaseCounts, CauseCount, WrongBelief

    found: dict[str, list[tuple[str, Case]]] = {}
    wrong = []
    for name, case in cases.items():
        if case.closed is not None:
            found.setdefault(case.closed.cause, []).append((name, case))
            believed = _believed(case)
            if believed is not None and believed[0] != case.closed.cause:
                was = f"{case.closed.cause} at {case.closed.where}".removesuffix(" at ")
                wrong.append(WrongBelief(name, believed[1], was))
    counts = [
        CauseCount(
            cause,
            len(of),
            median(sum(1 for s in case.dialogue if s.test and s.answer == "answered") for _, case in of),
            median(sum(s.minutes for s in case.dialogue) for _, case in of),
            sum(1 for _, case in of if (b := _believed(case)) is not None and b[0] != cause),
        )
        for cause, of in found.items()
    ]
    counts.sort(key=lambda c: (-c.cases, c.cause))
    return CaseCounts(len(cases), sum(c.cases for c in counts), tuple(counts), tuple(wrong))


def _believed(case: Case) -> tuple[str, str] | None:
    """Return the cause that was believed most in the end, by id and in words."""
    last = next((s.believed for s in reversed(case.dialogue) if s.believed is not None), None)
    return None if last is None else (last.cause, f"{last.cause} at {last.where}".removesuffix(" at "))


def closed_counts(store: CaseStore) -> dict[str, int]:
    """Return how many cases were closed with each cause; cases that can't be read are left out."""
    from gainwright.errors import GainwrightError

    counts: Counter[str] = Counter()
    for name in store.names():
        try:
            case = store.load(name)
        except GainwrightError:
            continue
        if case.closed is not None:
            counts[case.closed.cause] += 1
    return dict(counts)
