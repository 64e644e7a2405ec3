"""Blind cases on the simulated rig: the true cause is found, probabilities are calibrated, and few tests are needed.

A smaller draw than the bench's (`python3 tasks.py bench diagnosing`); its table is printed at the end of the run.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from blind_cases import Case, run_case
from blind_tables import reliability, table, telling
from diagnosers import kept_diagnoser

from gainwright.jobfile import examples

if TYPE_CHECKING:
    from collections.abc import Callable

CASES = range(200, 272)


def run_one(seed: int) -> Case:
    """Run a case, with the gain positions in the job where the seed is even."""
    return run_case(seed, said=seed % 2 == 0, made=kept_diagnoser)


def test_blind_cases(record_property: Callable[[str, object], None]) -> None:
    """With gain positions in the job and without: causes are found, probabilities are calibrated, tests are few."""
    # one shipped example after the other, so that cases of one chain can share what is solved of it
    cases = sorted(
        map(run_one, sorted(CASES, key=lambda seed: seed // 3 % len(examples()))), key=lambda case: case.seed
    )
    record_property("table", table(cases))
    the_true_cause_is_found(cases)
    probabilities_are_honest(cases)
    few_tests_are_enough(cases)


def the_true_cause_is_found(cases: list[Case]) -> None:
    """First in 85 %, among the first three in 97 %, of the cases whose readings can show it (within the sampling error of this draw)."""
    shown = telling(cases)
    assert len(shown) > 40
    assert np.mean([c.rank == 0 for c in shown]) >= 0.85
    assert np.mean([c.rank < 3 or c.group < 3 for c in shown]) >= 0.97 - 2 * np.sqrt(0.97 * 0.03 / len(shown))


def probabilities_are_honest(cases: list[Case]) -> None:
    """In every bin the stated probability is the share that was true, within three standard errors."""
    for when in ("after the call", "at some step", "at the end"):
        brier, rows = reliability(cases, when)
        assert brier < 0.06, when
        for low, high, n, said, true in rows:
            error = np.sqrt(max(said * (1 - said), 0.02) / n)
            assert abs(true - said) < 3 * error + 0.03, (when, low, high, n, said, true)


def few_tests_are_enough(cases: list[Case]) -> None:
    """From a call to 90 % belief in a median of at most five tests, four where there was no sound at all (one more for the draw)."""
    reached = [c for c in telling(cases) if c.best >= 0.9]
    assert np.median([c.tests for c in reached]) <= 5
    assert np.median([c.tests for c in reached if c.silent]) <= 5


def test_same_seed_gives_the_same_case() -> None:
    """A case is reproducible to the last digit."""
    one, again = run_case(201), run_case(201)
    assert one.asked == again.asked
    assert one.said == again.said
