"""The tally of cases: how often each cause, after how many tests and minutes, and where the belief was wrong."""

from __future__ import annotations

from collections import Counter
from statistics import median
from typing import TYPE_CHECKING, get_args

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.app.store import StoredCase
    from gainwright.model.case import Case
    from gainwright.report.cases import CaseCounts, CauseCount


def count_cases(cases: Iterable[StoredCase]) -> CaseCounts:
    """Return the tally of some cases."""
    from gainwright.model.case import Outcome
    from gainwright.report.cases import CaseCounts, NamedCount, OutcomeCount, WrongBelief

    by_cause: dict[str, list[Case]] = {}
    ways, named = Counter[str](), Counter[str]()
    wrong, number = [], 0
    for stored in cases:
        closed = stored.case.closed
        number += 1
        if closed is None:
            continue
        ways[closed.outcome] += 1
        named.update([closed.named] if closed.named else [])
        for cause in dict.fromkeys(cause for cause, _ in closed.faults):
            by_cause.setdefault(cause, []).append(stored.case)
        believed = _believed(stored.case)
        if believed is not None and _missed(stored.case):
            was = " and ".join(f"{c} at {w}".removesuffix(" at ") for c, w in closed.faults) or closed.named
            wrong.append(WrongBelief(stored.name, believed[1], was))
    counts = sorted((_count(cause, of) for cause, of in by_cause.items()), key=lambda c: (-c.cases, c.cause))
    outcomes = tuple(OutcomeCount(way, ways[way]) for way in get_args(Outcome) if ways[way])
    others = tuple(NamedCount(words, n) for words, n in sorted(named.items(), key=lambda item: (-item[1], item[0])))
    return CaseCounts(number, ways.total(), tuple(counts), tuple(wrong), outcomes, others)


def _count(cause: str, of: list[Case]) -> CauseCount:
    from gainwright.report.cases import CauseCount

    tests = [n for n in map(tests_of, of) if n is not None]
    minutes = [m for m in map(minutes_of, of) if m is not None]
    missed = sum(_missed(case) for case in of)
    return CauseCount(cause, len(of), median(tests) if tests else 0, median(minutes) if minutes else 0.0, missed)


def tests_of(case: Case) -> int | None:
    """Return how many tests of a case were answered; None of a case of the shop's history that doesn't say."""
    if (case.closed is not None and case.closed.tests is not None) or not case.job:
        return case.closed.tests if case.closed is not None else None
    return sum(1 for step in case.dialogue if step.test and step.answer == "answered")


def minutes_of(case: Case) -> float | None:
    """Return the minutes that the tests of a case took; None of a case of the shop's history that doesn't say."""
    if (case.closed is not None and case.closed.minutes is not None) or not case.job:
        return case.closed.minutes if case.closed is not None else None
    return sum(step.minutes for step in case.dialogue)


def _missed(case: Case) -> bool:
    """Return whether a solved case ended with another cause most probable than those that it had."""
    believed, closed = _believed(case), case.closed
    if believed is None or closed is None or closed.outcome == "unsolved":
        return False
    return believed[0] not in [cause for cause, _ in closed.faults]


def _believed(case: Case) -> tuple[str, str] | None:
    """Return the most probable cause at the end, as an id and in words."""
    last = next((s.believed for s in reversed(case.dialogue) if s.believed is not None), None)
    return None if last is None else (last.cause, f"{last.cause} at {last.where}".removesuffix(" at "))
