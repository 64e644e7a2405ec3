"""The other outputs at the clean step that was found on the first: the same tone, the same volume, as clean."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from gainwright.plan.capability import finds_limit, instrument_words
from gainwright.plan.expected_readings import expect_volts
from gainwright.plan.result import Step
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from gainwright.plan.context import PlanContext
    from gainwright.plan.views import MeasuringMethod
    from gainwright.plan.visibility import View
    from gainwright.solve import Solution


def other_sides(
    context: PlanContext, way: MeasuringMethod, first: Step, solve: Callable[[View], tuple[Solution, Solution]]
) -> Iterator[Step]:
    """Yield a reading for each other output of an end, where the first one was read at its own output.

    Parameters
    ----------
    first : the step that finds the clean limit.
    solve : returns the view's node solved at the clean limit, at nominal values and for draws.
    """
    view = way.view
    if view.node not in view.end.nodes:
        return
    shows = finds_limit(view.instrument, context.job.stages[view.node.stage], view.end.tone_hz)
    for node in view.end.nodes:
        if node == view.node:
            continue
        here = replace(view, node=node)
        middle, spread = solve(here)
        yield Step(
            f"{first.id}.{node.output}.{node.side}",
            "source",
            first.stage,
            say(
                "Leave the volume at the step found and read {node} with {name}: it must be as clean there; if it isn't, go down to the step where it is, and take that step for both.",
                node=node,
                name=instrument_words(context, view.instrument_name if shows else "", node),
            ),
            say("The other outputs have stages of their own: the one that clips first decides."),
            first.tone_hz,
            first.level_dbfs,
            str(node),
            view.instrument_name,
            expect_volts(view.instrument, middle, spread, middle.index(node), tone_hz=view.end.tone_hz),
            say("Apart from the first output: a lead, balance or fader, a filter or control of one side."),
            not way.doubts,
            sets=first.sets,
            speakers_off=first.speakers_off,
        )
