"""Which case draws most from the supply, and which of its amplifiers is the largest."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model import Amplifier, supply_path, unit_of

if TYPE_CHECKING:
    from gainwright.plan.context import PlanContext


def rated_w(context: PlanContext) -> dict[str, float]:
    """Return amplifier -> the power of all its sides at its highest rating."""
    nominal = context.chain.nominal()
    return {
        name: max(nominal[f"{name}.power.{i}"] for i in range(len(stage.power)))
        * len(context.chain.wiring.outputs(name))
        for name, stage in context.job.stages.items()
        if isinstance(stage, Amplifier)
    }


def largest_consumer(context: PlanContext, path: str = "") -> tuple[str, str]:
    """Return the case that draws most at its ratings, and its largest amplifier; empty texts if there is none.

    Parameters
    ----------
    path : of the supply whose cases are compared; all of them when empty.
    """
    watts = rated_w(context)
    units: dict[str, list[str]] = {}
    for name in watts:
        if not path or supply_path(context.job, name, "running") == path:
            units.setdefault(unit_of(context.job, name), []).append(name)
    unit = max(units, key=lambda u: sum(watts[name] for name in units[u]), default="")
    return unit, max(units.get(unit, [""]), key=lambda name: watts.get(name, 0.0))
