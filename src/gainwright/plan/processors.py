"""The check of processors, drivers and converters at the source's clean limit, one reading for all before an end."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from gainwright.model import Converter, LineDriver, Processor, stage_title
from gainwright.plan.capability import finds_limit, instrument_words
from gainwright.plan.distortion_seen import sees_distortion
from gainwright.plan.expected_readings import expect_volts
from gainwright.plan.outside import by_side
from gainwright.plan.result import Step
from gainwright.plan.stage_steps import at_volume
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import Node
    from gainwright.plan.context import PlanContext
    from gainwright.plan.source import CleanLimit
    from gainwright.plan.stage_steps import SourceLimits
    from gainwright.plan.views import MeasuringMethod
    from gainwright.plan.visibility import View
    from gainwright.solve import Solution


def processor_steps(context: PlanContext, found: SourceLimits) -> Iterator[Step]:
    """Yield the check of the processors and drivers before each end at the source's clean limit, from the end of the chain.

    Several before one end are one reading: the same tone at the same place.
    """
    governing = found.governing_by_end()
    before: dict[str, dict[str, Node]] = {}
    for name in context.chain.wiring.order:
        if isinstance(context.job.stages[name], Processor | LineDriver | Converter):
            for end in context.ends:
                nodes = [n for n in end.upstream if n.stage == name]
                if nodes:
                    before.setdefault(end.stage, {})[name] = nodes[-1]
    for stage, nodes_of in before.items():
        way = found.ways[stage]
        # the volume of the whole system, the level that this tone leaves room for
        limit = replace(governing[stage], level_dbfs=found.limits[stage].level_dbfs)
        solved = at_volume(context, way.view, limit, (way.view.node, *way.view.end.upstream))
        yield _processor_step(context, way, limit, list(nodes_of.values()), *solved)


def _processor_step(
    context: PlanContext,
    way: MeasuringMethod,
    limit: CleanLimit,
    nodes: list[Node],
    middle: Solution,
    spread: Solution,
) -> Step:
    view, last = way.view, nodes[-1]
    names = joined([node.stage for node in nodes], by="{a} and {b}")
    expect = expect_volts(view.instrument, middle, spread, middle.index(view.node), tone_hz=view.end.tone_hz)
    return Step(
        f"processor.{last.stage}.{last.output}.{view.end.stage}",
        "processor",
        last.stage,
        _still_clean(context, view, limit, names),
        joined([_room(node, middle, spread) for node in nodes], by="{a} {b}"),
        view.end.tone_hz,
        limit.level_dbfs,
        str(view.node),
        view.instrument_name,
        expect,
        visible=not way.doubts,
        **by_side(
            low=say("a level of {name} turned down, a mute, a filter.", name=names),
            high=say("an output level is up, or a boost is on."),
            other=say("Distorted: its input is overdriven, or an output level is up."),
        ),
        sets=way.sets,
        speakers_off=tuple(sorted(context.speakers)),
        note=joined(
            [stage_title(context.job, name) for name in dict.fromkeys(node.stage for node in nodes)], by="{a} and {b}"
        ),
    )


def _room(node: Node, middle: Solution, spread: Solution) -> str:
    """Return what is left below a node's ceiling, and how often it clips first."""
    own = middle.index(node)
    clips = float(np.mean(spread.margin_db[:, own] < -0.25))
    chance = (
        ""
        if clips < 0.05
        else say(" It clips before the source in {part} % of chains like this.", part=f"{100 * clips:.0f}")
    )
    return (
        say(
            "{margin} dB are left below the ceiling at {output}: it must not clip at full scale.",
            margin=f"{float(middle.margin_db[0, own]):.1f}",
            output=f"{node.stage}.{node.output}",
        )
        + chance
    )


def _still_clean(context: PlanContext, view: View, limit: CleanLimit, name: str) -> str:
    """Return how an instrument tells that a stage is clean: a meter only by whether its reading follows a volume step."""
    shows = finds_limit(view.instrument, context.job.stages[view.node.stage], view.end.tone_hz)
    parts = {
        "tone_hz": f"{view.end.tone_hz:g}",
        "level_dbfs": f"{limit.level_dbfs:g}",
        "instrument_name": instrument_words(context, view.instrument_name if shows else "", view.node),
        "node": view.node,
        "name": name,
    }
    if shows and sees_distortion(view.instrument, view.end.tone_hz):
        return say(
            "With {tone_hz} Hz at {level_dbfs} dBFS and the volume at the clean limit, check that {instrument_name} at {node} still shows a clean tone; if not, lower the level into {name} until it does.",
            **parts,
        )
    return say(
        "With {tone_hz} Hz at {level_dbfs} dBFS and the volume at the clean limit, read {instrument_name} at {node}, then one volume step lower: the reading falls by a whole step. If it falls by clearly less, lower the level into {name} until it does.",
        **parts,
    )
