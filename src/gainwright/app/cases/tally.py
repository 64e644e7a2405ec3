"""The tally of cases: how often each cause, after how many tests and minutes, and where the belief was wrong."""

from __future__ import annotations

from statistics import median
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.app.store import StoredCase
    from gainwright.model import Case
    from gainwright.report.cases import CaseCounts


def count_cases(cases: Iterable[StoredCase]) -> CaseCounts:
    """Return the tally of some cases."""
    from gainwright.report.cases import CaseCounts, CauseCount, WrongBelief

    by_cause: dict[str, list[tuple[str, Case]]] = {}
    wrong, number = [], 0
    for stored in cases:
        name, case = stored.name, stored.case
        number += 1
        if case.closed is not None:
            by_cause.setdefault(case.closed.cause, []).append((name, case))
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
        for cause, of in by_cause.items()
    ]
    counts.sort(key=lambda c: (-c.cases, c.cause))
    return CaseCounts(number, sum(c.cases for c in counts), tuple(counts), tuple(wrong))


def _believed(case: Case) -> tuple[str, str] | None:
    """Return the most probable cause at the end, as an id and in words."""
    last = next((s.believed for s in reversed(case.dialogue) if s.believed is not None), None)
    return None if last is None else (last.cause, f"{last.cause} at {last.where}".removesuffix(" at "))
