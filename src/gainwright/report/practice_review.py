"""The review of a practice in words and charts: what each result showed, the corridor before and after the repair."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from gainwright.diagnose import Cause, short_name
from gainwright.model import resolve
from gainwright.report.corridor import CorridorChart, corridor_chart
from gainwright.solve import Chain, Levels, levels
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.model import Job
    from gainwright.solve import NodeLevel, PathLevels

NOTHING_NEW = 0.03
"""A result that moves less probability showed nothing."""
NAMED = 3


def result_words(
    job: Job,
    *,
    ruled_out: Sequence[tuple[str, str]],
    leading: tuple[str, str],
    share: float,
    truth: tuple[float, float],
    moved: float,
) -> str:
    """Return what a result showed: what it ruled out, what it points to, and what became of the true cause's probability.

    Parameters
    ----------
    ruled_out, leading : causes as (id, place).
    share : probability of the leading cause after it.
    truth : probability of what was hidden, before and after.
    moved : how much probability moved, 0 to 1.
    """
    if moved < NOTHING_NEW:
        return say("It showed nothing new: every likely cause gives this result.")
    parts = []
    names = [_name(cause, job) for cause in ruled_out]
    if names:
        gone = joined(names[:NAMED], by="{a}; {b}")
        more = len(names) - NAMED
        parts.append(
            say("It rules out: {causes}; and {number} more.", causes=gone, number=more)
            if more > 0
            else say("It rules out: {causes}.", causes=gone)
        )
    parts.append(say("It points to: {cause}, {share}.", cause=_name(leading, job), share=_share(share)))
    before, after = truth
    if not math.isclose(after, share) and abs(after - before) >= NOTHING_NEW:
        parts.append(say("What was hidden went from {before} to {after}.", before=_share(before), after=_share(after)))
    return joined(parts, by="{a} {b}")


def _share(probability: float) -> str:
    return f"{100 * probability:.0f} %"


def _name(cause: tuple[str, str], job: Job) -> str:
    return short_name(Cause(*cause), job)


def repaired_charts(
    job: Job, *, path: str, tone_hz: float, level_dbfs: float, volts: Mapping[str, tuple[float, float]]
) -> tuple[CorridorChart, CorridorChart]:
    """Return the corridor of a path with the fault and when it is repaired.

    Noise and ceilings are those of the job at the middle of its spreads, the levels are the true ones of the simulated chain.

    Parameters
    ----------
    volts : node -> volts rms with the fault, and when it is repaired.
    """
    as_job = levels(Chain(job), tone_hz=tone_hz, level_dbfs=level_dbfs)
    along = next(p for p in as_job.paths if p.path == path)
    before, after = (_with_levels(along, {node: both[i] for node, both in volts.items()}, job) for i in (0, 1))
    return (
        corridor_chart(Levels(tone_hz, level_dbfs, (before,)), job, title=say("Before the repair")),
        corridor_chart(Levels(tone_hz, level_dbfs, (after,)), job, title=say("After the repair")),
    )


def _with_levels(along: PathLevels, volts: Mapping[str, float], job: Job) -> PathLevels:
    """Return a path with other levels; without its digital places, which have no volts."""
    digital = {str(node) for node in resolve(job).digital}
    nodes = tuple(_with_level(node, volts[node.node]) for node in along.nodes if node.node not in digital)
    margins = {node.node: node.margin_db for node in nodes if math.isfinite(node.margin_db)}
    first = min(margins, key=margins.__getitem__) if margins else ""
    return replace(along, nodes=nodes, limits_first=first)


def _with_level(node: NodeLevel, v_rms: float) -> NodeLevel:
    ceiling = node.ceiling_v_rms
    margin_db = 20 * math.log10(ceiling / v_rms) if math.isfinite(ceiling) and v_rms > 0 else math.inf
    return replace(node, v_rms=v_rms, v_rms_low=v_rms, v_rms_high=v_rms, margin_db=margin_db)
