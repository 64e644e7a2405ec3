"""A job to a plan: everything found once, then the steps in order."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model import Amplifier
from gainwright.plan.findings import check
from gainwright.plan.finishing import restore, verify
from gainwright.plan.preparing import controls, leads, prepare
from gainwright.plan.result import Finding, Plan, Step
from gainwright.plan.setting_out import SettingOut
from gainwright.plan.stages import Front, amplifier_steps, front, processor_steps, source_steps
from gainwright.plan.targets import target

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    import numpy.typing as npt

    from gainwright.model import Job
    from gainwright.plan.result import Target

    Floats = npt.NDArray[np.float64]


def make_plan(job: Job, *, learned: Mapping[str, Floats] | None = None) -> Plan:
    """Return what a careful expert would write for this chain.

    Parameters
    ----------
    learned : draws of what readings taught of the chain's numbers, fact path -> shape (draws,).

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    out = SettingOut(job, learned=learned)
    found = front(out)
    targets = targets_of(out, found)
    source = list(source_steps(out, found))
    steps = [*prepare(out), *leads(out), *controls(out), *(s for s in source if isinstance(s, Step))]
    steps += [*processor_steps(out, found), *amplifier_steps(out, found, targets)]
    steps += [*restore(out), *verify(out, found, targets)]
    findings = check(out, found.governing_by_end(), targets) + [f for f in source if isinstance(f, Finding)]
    return Plan(job.title, tuple(steps), tuple(targets.values()), _sorted(findings))


def check_job(job: Job) -> tuple[Finding, ...]:
    """Return the engineering findings of a job.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    return make_plan(job).findings


def targets_of(out: SettingOut, found: Front) -> dict[str, Target]:
    """Return amplifier -> the voltage it is set to."""
    limits = found.governing_by_end()
    return {
        end.stage: target(out, end, limits[end.stage])
        for end in out.ends
        if isinstance(out.job.stages[end.stage], Amplifier)
    }


def _sorted(findings: list[Finding]) -> tuple[Finding, ...]:
    order = {"blocker": 0, "caution": 1, "note": 2}
    unique = {(f.code, f.where, f.message): f for f in findings}
    return tuple(sorted(unique.values(), key=lambda f: order[f.severity]))
