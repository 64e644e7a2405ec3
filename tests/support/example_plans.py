"""Plans of the shipped examples, with replacements in the job's text, and parts of them."""

from __future__ import annotations

import functools

from cars import CARS

from gainwright.jobfile import example_text, read_job_text
from gainwright.model import Job
from gainwright.plan import Finding, Plan, Step, make_plan


def job(name: str = "two_way_and_sub", **changes: str) -> Job:
    """Return an example with texts replaced."""
    text = example_text(name)
    for old, new in (change.split(" => ") for change in changes.values()):
        assert old in text
        text = text.replace(old, new)
    return read_job_text(text).job


def steps(plan: Plan, phase: str) -> list[Step]:
    """Return a phase's steps."""
    return [step for step in plan.steps if step.phase == phase]


def finding(plan: Plan, code: str, where: str) -> Finding:
    """Return the one finding of a code at a place."""
    return next(f for f in plan.findings if f.code == code and f.where == where)


@functools.cache
def two_way_plan() -> Plan:
    """Return the plan of the example with a two-way front and a subwoofer."""
    return make_plan(job())


@functools.cache
def plan_of(name: str) -> Plan:
    """Return the plan of an example or of one of the other cars, made once."""
    return make_plan(read_job_text(CARS[name] if name in CARS else example_text(name)).job)
