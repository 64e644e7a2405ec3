"""Findings on what would hide a source's clean limit with the job's settings, and what the plan does instead."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from gainwright.jobfile import with_changes
from gainwright.plan.capability import METER
from gainwright.plan.remedies import opened_on_the_way
from gainwright.plan.result import Finding
from gainwright.plan.source import clean_limit
from gainwright.plan.views import MeasuringMethod, best_method, doubts_as_set, plain_view
from gainwright.plan.visibility import by_preference, doubts
from gainwright.solve import Conditions
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.source import CleanLimit
    from gainwright.plan.visibility import Doubt

WOULD_SHOW = (
    METER,
    "{kind: recorder, full_scale: 2 V, attenuator: 0 dB, rate: 96 kHz}",
    "{kind: recorder, full_scale: 2 V, attenuator: 40 dB, rate: 96 kHz}",
)
"""Instruments that are tried where those at hand can't show something."""


def hidden_limit(context: PlanContext, end: End, limit: CleanLimit, way: MeasuringMethod) -> Iterator[Finding]:
    """Yield what would hide the limit with the job's settings, and what the plan does instead (solved)."""
    view = way.view
    instead = way.description or say("{instrument} at {node}", instrument=view.instrument_name, node=view.node)
    sets = opened_on_the_way(context, end)
    opened = joined([say("{control} {text}", control=control, text=text) for control, text in sets.items()])
    if way.doubts:
        remedy, needed = _other_instrument(context, end)
        for doubt in (*doubts_as_set(context, end, limit), *way.doubts):
            yield _found("caution", doubt, remedy, needed)
    else:
        for doubt in doubts_as_set(context, end, limit):
            moved = say(" with {opened}", opened=opened) if opened else ""
            planned = say("planned{moved}: {instead}; solved again: it shows", moved=moved, instead=instead)
            yield _found("note", doubt, planned, sets | way.sets)
    if way.description and not way.doubts:
        plain = plain_view(context, end, limit, context.opened, by_preference(context, end.tone_hz)[0][0])
        for doubt in doubts(context, plain):
            yield _found(
                "note", doubt, say("planned: {said}; solved again: it shows", said=way.description), sets | way.sets
            )
    other_hz = _other_tone_hz(context, end)
    if other_hz != end.tone_hz and end.path.asked_tone_hz(context.job) is None:
        yield from _with_other_tone(context, end, limit, other_hz)


def hidden_earlier(context: PlanContext, end: End, way: MeasuringMethod) -> Iterator[Finding]:
    """Yield why nothing at hand shows a tone at which something clips earlier than at the set-up tone, and what would."""
    if way.doubts:
        remedy, needed = _other_instrument(context, end, at_its_tone=True)
        for doubt in way.doubts:
            yield _found("caution", doubt, remedy, needed)


def _found(severity: Literal["note", "caution"], doubt: Doubt, remedy: str, sets: dict[str, str]) -> Finding:
    return Finding(severity, doubt.code, doubt.where, doubt.message, remedy, sets)


def _other_instrument(context: PlanContext, end: End, *, at_its_tone: bool = False) -> tuple[str, dict[str, str]]:
    """Return which further instrument would show a limit, solved again, and how the job says it; empty if none would.

    With it the set-up tone may be another, unless it is asked for the end's own.
    """
    for text in WOULD_SHOW:
        sets = {"instruments.other": text}
        changed = type(context)(with_changes(context.job, sets))
        again = next(e for e in changed.ends if e.stage == end.stage)
        if at_its_tone:
            again = replace(again, tone_hz=end.tone_hz)
        if not best_method(changed, again, clean_limit(changed, again)).doubts:
            said = text.strip("{}").removeprefix("kind: ")
            return say("nothing at hand shows it; solved again: this would: {instrument}", instrument=said), sets
    return say("nothing at hand shows it"), {}


def _other_tone_hz(context: PlanContext, end: End) -> float:
    """Return the job's set-up tone that is furthest from an end's own, in octaves: one tone for all would be taken there."""
    return max((other.tone_hz for other in context.ends), key=lambda hz: abs(math.log2(hz / end.tone_hz)))


def _with_other_tone(context: PlanContext, end: End, limit: CleanLimit, other_hz: float) -> Iterator[Finding]:
    """Yield what would hide the limit with the tone of another path."""
    instrument = by_preference(context, other_hz)[0][0]
    view = plain_view(context, replace(end, tone_hz=other_hz), limit, context.chain, instrument)
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
            yield _found("note", doubt, remedy, {f"tones.{end.stage}": f"{end.tone_hz:g} Hz"})
