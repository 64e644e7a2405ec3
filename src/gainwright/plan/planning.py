"""From a job to its plan: limits and targets first, then the steps in order."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

from gainwright.model import Amplifier
from gainwright.plan.amplifier_controls import woken_by_signal
from gainwright.plan.blockers import blockers
from gainwright.plan.capability import only_what_shows
from gainwright.plan.cautions import GENERAL
from gainwright.plan.clean_volume import clean_volume
from gainwright.plan.context import PlanContext
from gainwright.plan.findings import check
from gainwright.plan.full_scale import full_scale
from gainwright.plan.in_words import Words
from gainwright.plan.lines import numbered, results_last
from gainwright.plan.preparation import controls, leads, prepare, supply, supply_under_load
from gainwright.plan.processors import processor_steps
from gainwright.plan.result import Finding, Plan, Step
from gainwright.plan.sequence import in_order
from gainwright.plan.sizes import sizes
from gainwright.plan.source_findings import source_findings
from gainwright.plan.stage_steps import SourceLimits, amplifier_steps, source_limits, source_steps
from gainwright.plan.strapping import check_pairs, prove_pairs
from gainwright.plan.targets import target
from gainwright.plan.verification import restore, settled_outputs, verify

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    import numpy.typing as npt

    from gainwright.model import Job
    from gainwright.plan.result import Target

    Floats = npt.NDArray[np.float64]


KEPT = 32
"""Plans kept: a paper, a run and a case ask for the plan of the same job again."""


class _Content:
    """A job as the key of a cache, equal to any job that says the same in the same order."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.says = repr(job)

    def __hash__(self) -> int:
        return hash(self.says)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Content) and self.says == other.says


def make_plan(job: Job, *, learned: Mapping[str, Floats] | None = None) -> Plan:
    """Return the set-up plan of a chain; without learned values that of an equal job is kept and returned again.

    Parameters
    ----------
    learned : samples of the chain's values as learned from readings, fact path -> shape (draws,).

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    return _planned(job, learned) if learned else _kept(_Content(job))


@functools.lru_cache(maxsize=KEPT)
def _kept(content: _Content) -> Plan:
    return _planned(content.job, None)


def _planned(job: Job, learned: Mapping[str, Floats] | None) -> Plan:
    context = PlanContext(job, learned=learned)
    found = source_limits(context)
    targets = amplifier_targets(context, found)
    source = list(source_steps(context, found))
    steps = [
        *prepare(context),
        *leads(context),
        *controls(context),
        *supply(context),
        *(s for s in source if isinstance(s, Step)),
    ]
    steps += [*processor_steps(context, found), *amplifier_steps(context, found, targets)]
    steps += prove_pairs(context, targets)
    settled = settled_outputs(context, found, targets)
    last = list(verify(context, found, settled))
    steps += [*restore(context), *(s for s in last if isinstance(s, Step))]
    on_load = list(supply_under_load(context, targets, settled))
    steps += [s for s in on_load if isinstance(s, Step)]
    findings = check(context, found.governing_by_end(), targets)
    findings += [f for f in (*source, *last, *on_load) if isinstance(f, Finding)]
    findings += [*blockers(context), *check_pairs(context), *woken_by_signal(context), *sizes(context)]
    findings += source_findings(context)
    steps, unseen = only_what_shows(context, steps)
    findings += unseen
    blocked = any(f.severity == "blocker" for f in findings)
    words = Words(context)
    ordered = results_last(words.step(s) for s in in_order(context, steps, blocked=blocked))
    limits = found.governing_by_end()
    return Plan(
        job.title,
        ordered,
        tuple(map(words.target, targets.values())),
        _sorted([words.finding(f) for f in findings]),
        # of a chain that must be changed first they would say what nobody may try
        () if blocked else tuple(clean_volume(context, limit, context.ends) for limit in found.governing.values()),
        ()
        if blocked
        else tuple(
            words.full_scale(full_scale(context, end, limits[end.stage], targets[end.stage]))
            for end in context.ends
            if end.stage in targets
        ),
        GENERAL,
        numbered(ordered),
    )


def check_job(job: Job) -> tuple[Finding, ...]:
    """Return the engineering findings of a job.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    return make_plan(job).findings


def amplifier_targets(context: PlanContext, found: SourceLimits) -> dict[str, Target]:
    """Return amplifier -> target voltage."""
    limits = found.governing_by_end()
    return {
        end.stage: target(context, end, limits[end.stage])
        for end in context.ends
        if isinstance(context.job.stages[end.stage], Amplifier)
    }


def _sorted(findings: list[Finding]) -> tuple[Finding, ...]:
    order = {"blocker": 0, "caution": 1, "note": 2}
    unique = {(f.code, f.where, f.message): f for f in findings}
    return tuple(sorted(unique.values(), key=lambda f: order[f.severity]))
