"""Findings on what would hide a source's clean limit with the job's settings, and what the plan does instead."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from gainwright.plan.result import Finding
from gainwright.plan.views import Way, doubts_as_set, plain_view
from gainwright.plan.visibility import by_preference, doubts
from gainwright.solve import Conditions
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.source import CleanLimit
    from gainwright.plan.visibility import Doubt

OTHER_TONE_HZ = 1000.0
"""The most common test tone."""
NO_WAY = say("no method found here can show it: measure nearer to the source")


def hidden_limit(context: PlanContext, end: End, limit: CleanLimit, way: Way) -> Iterator[Finding]:
    """Yield what would hide the limit with the job's settings, and what the plan does instead (solved)."""
    view = way.view
    instead = way.description or say("{instrument} at {node}", instrument=view.instrument_name, node=view.node)
    own = context.moved_filters.items()
    opened = ", ".join(f"{c} {text}" for c, (f, text) in own if f.node in end.all_nodes)
    for doubt in doubts_as_set(context, end, limit):
        if way.doubts:
            yield _found("caution", doubt, NO_WAY)
            continue
        moved = say(" with {opened}", opened=opened) if opened else ""
        planned = say("planned{moved}: {instead}; solved again: it shows", moved=moved, instead=instead)
        yield _found("note", doubt, planned)
    for doubt in way.doubts:
        yield _found("caution", doubt, NO_WAY)
    if way.description and not way.doubts:
        plain = plain_view(context, end, limit, context.opened, by_preference(context, end.tone_hz)[0][0])
        for doubt in doubts(context, plain):
            yield _found("note", doubt, say("planned: {said}; solved again: it shows", said=way.description))
    if end.tone_hz != OTHER_TONE_HZ:
        yield from _full_range_tone(context, end, limit)


def _found(severity: Literal["note", "caution"], doubt: Doubt, remedy: str) -> Finding:
    return Finding(severity, doubt.code, doubt.where, doubt.message, remedy)


def _full_range_tone(context: PlanContext, end: End, limit: CleanLimit) -> Iterator[Finding]:
    """Yield what would hide the limit with the most common test tone."""
    instrument = by_preference(context, OTHER_TONE_HZ)[0][0]
    view = plain_view(context, replace(end, tone_hz=OTHER_TONE_HZ), limit, context.chain, instrument)
    for doubt in doubts(context, view):
        if doubt.code == "tone_filtered":
            solved = context.opened.solve(
                Conditions(end.tone_hz, 0.0, settings={f"{limit.head}.volume": limit.middle}), targets=end.nodes[:1]
            )
            volts = float(solved.rms_v[0, solved.index(end.nodes[0])])
            remedy = say(
                "use {tone_hz} Hz here; solved again: {volts} V at {part}",
                tone_hz=f"{end.tone_hz:g}",
                volts=f"{volts:.3g}",
                part=end.nodes[0],
            )
            yield _found("note", doubt, remedy)
