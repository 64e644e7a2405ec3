"""What is assumed where a job doesn't say."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gainwright.jobfile import Assumption, JobFile


def assumptions(read: JobFile) -> list[Assumption]:
    """Return everything that is assumed where a job doesn't say."""
    from gainwright.jobfile import Assumption, facts, instrument_assumptions

    of_stages = [
        Assumption(fact.path, str(fact.quantity), fact.reason)
        for fact in facts(read.job, read.wiring).values()
        if not fact.given
    ]
    return of_stages + instrument_assumptions(read.job)
