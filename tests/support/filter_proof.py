"""Whether a plan's readings would reveal that a filter it opened was left open, from the levels of the chain alone.

At each verify step: the level with the filter restored and with it still open, all other filters restored, both far below
every ceiling; their ratio shifts the expected reading. The step reveals the open filter if the result lies outside the expected
interval by 3 dB or a third of the distance between the two, whichever is less, and by at least 1 dB.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.jobfile import with_settings
from gainwright.solve import Chain, Conditions

if TYPE_CHECKING:
    from gainwright.model import Job
    from gainwright.plan import Plan, Step


def moved_filters(plan: Plan) -> dict[str, tuple[str, str]]:
    """Return control -> (as opened for the set-up, as it must be at the end)."""
    opened = {c: t for s in plan.steps if s.phase == "controls" for c, t in s.sets.items()}
    back = {c: t for s in plan.steps if s.phase == "restore" for c, t in s.sets.items()}
    return {control: (opened[control], text) for control, text in back.items() if control in opened}


def not_told(job: Job, plan: Plan) -> dict[str, tuple[float, float, str] | None]:
    """Return each moved filter that no reading proves -> the best there is: dB outside, dB apart, step."""
    moved = moved_filters(plan)
    back = with_settings(job, {control: text for control, (_, text) in moved.items()})
    verify = [s for s in plan.steps if s.phase == "verify" and s.tone_hz and s.expect and s.measure_at]
    chain, found = Chain(back), {}
    for control, (opened, _) in moved.items():
        left = Chain(with_settings(back, {control: opened}))
        outside = [_outside(step, _volts(chain, step), _volts(left, step)) for step in verify]
        best = max((o for o in outside if o is not None), default=None)
        if best is None or best[0] < max(1.0, min(3.0, abs(best[1]) / 3)):
            found[control] = best
    return found


def _outside(step: Step, back_v: float, left_v: float) -> tuple[float, float, str] | None:
    assert step.expect is not None
    if min(back_v, left_v) <= 0:
        return None
    reads = step.expect.value * left_v / back_v
    low, high = max(step.expect.low, 1e-9), max(step.expect.high, 1e-9)
    over, under = 20 * math.log10(reads / high), 20 * math.log10(low / reads)
    return max(over, under), 20 * math.log10(left_v / back_v), step.id


def _volts(chain: Chain, step: Step) -> float:
    node = next(n for n in chain.nodes if str(n) == step.measure_at)
    solved = chain.solve(Conditions(step.tone_hz, -60.0), targets=(node,), margins=False)
    return float(solved.rms_v[0, solved.index(node)])
