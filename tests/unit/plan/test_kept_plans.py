"""The plan of a job is kept for a job that says the same, and made anew for any other."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.jobfile import example_text, facts, read_job_text
from gainwright.plan import make_plan

TEXT = example_text("one_amplifier")


def test_an_equal_job_has_the_plan_that_was_made() -> None:
    """The same text read twice is two jobs with one plan."""
    first, second = (read_job_text(TEXT, name).job for name in ("here.yaml", "there.yaml"))
    assert first is not second
    assert make_plan(first) is make_plan(second)


@pytest.mark.parametrize("old", ["rated_output", "sensitivity"])
def test_a_job_with_another_number_has_another_plan(old: str) -> None:
    """A number written otherwise, even with the same value, is another job: the plan shows it as it is written."""
    line = next(line for line in TEXT.splitlines() if old in line)
    changed = TEXT.replace(line, line.replace(" V", ".0 V", 1))
    assert changed != TEXT
    first, second = read_job_text(TEXT).job, read_job_text(changed).job
    assert make_plan(first) is not make_plan(second)


def test_what_was_learned_is_planned_anew() -> None:
    """Learned values belong to readings, not to the job: their plan is not the kept one."""
    job = read_job_text(TEXT).job
    middle = facts(job)["head.output_limit"].quantity.nominal
    learned = {"head.output_limit": np.linspace(0.98 * middle, 1.02 * middle, 8)}
    assert make_plan(job, learned=learned) is not make_plan(job)
