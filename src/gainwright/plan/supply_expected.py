"""The supply that a device is expected to have while its amplifier delivers, from the cables that the job gives."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.model import Amplifier
from gainwright.plan.result import Expect
from gainwright.plan.targets import load_ohm, rail_v
from gainwright.solve import Taken, amplifier_draw_w, sine, source_of, supply_tree

if TYPE_CHECKING:
    from gainwright.plan.context import End, PlanContext
    from gainwright.solve.cable_resistance import Assumed


def supply_on_load(context: PlanContext, unit: str, end: End, volts: float, at_rest: Expect) -> Expect:
    """Return the expected supply of a device while one of its amplifiers gives a tone of `volts` rms, the engine idling.

    Without cables to it, and where the voltage would collapse, that at rest: `at_rest`. Its ends are those of the supply
    itself with the least and the most that joints and body usually have.
    """
    usual = _lost_v(context, unit, end, volts, "usual")
    least, most = (_lost_v(context, unit, end, volts, assumed) for assumed in ("least", "most"))
    if math.isnan(usual + least + most):
        return at_rest
    return Expect("supply_v", at_rest.value - usual, at_rest.low - most, at_rest.high - least)


def _lost_v(context: PlanContext, unit: str, end: End, volts: float, assumed: Assumed) -> float:
    """Return what a device loses against the alternator's voltage; 0 without a cable to it."""
    job, stage = context.job, context.job.stages[end.stage]
    tree = supply_tree(job, assumed=assumed)
    if unit in tree.loose or not isinstance(stage, Amplifier):
        return 0.0
    rail, load = rail_v(context, end), load_ohm(context, end)
    watts = len(end.nodes) * amplifier_draw_w(stage, sine(volts), load_ohm=load, rail_v=rail)
    source = source_of(job, idling=True)
    state = tree.solve(source, {unit: Taken(watts)})
    return source.running_v - float(state.devices_v[unit])
