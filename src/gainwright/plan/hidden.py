"""What would hide a source's clean limit as the job stands, and what the plan does instead."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from gainwright.plan.result import Finding
from gainwright.plan.views import Way, as_it_stands, plain_view
from gainwright.plan.visibility import by_preference, doubts
from gainwright.solve import Conditions
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.plan.setting_out import End, SettingOut
    from gainwright.plan.source import CleanLimit
    from gainwright.plan.visibility import Doubt

OTHER_TONE_HZ = 1000.0
"""The tone most at hand."""
NO_WAY = say("no way to see it was found here: measure nearer to the source")


def hidden_limit(out: SettingOut, end: End, limit: CleanLimit, way: Way) -> Iterator[Finding]:
    """Yield what would hide the limit as the job stands, and what the plan does instead (solved)."""
    view = way.view
    instead = way.said or say("{instrument} at {node}", instrument=view.instrument_name, node=view.node)
    own = out.moved_filters.items()
    opened = ", ".join(f"{c} {text}" for c, (f, text) in own if f.node in end.all_nodes)
    for doubt in as_it_stands(out, end, limit):
        if way.doubts:
            yield _found("caution", doubt, NO_WAY)
            continue
        moved = say(" with {opened}", opened=opened) if opened else ""
        planned = say("planned{moved}: {instead}; solved again: it shows", moved=moved, instead=instead)
        yield _found("note", doubt, planned)
    for doubt in way.doubts:
        yield _found("caution", doubt, NO_WAY)
    if way.said and not way.doubts:
        plain = plain_view(out, end, limit, out.opened, by_preference(out, end.tone_hz)[0][0])
        for doubt in doubts(out, plain):
            yield _found("note", doubt, say("planned: {said}; solved again: it shows", said=way.said))
    if end.tone_hz != OTHER_TONE_HZ:
        yield from _full_range_tone(out, end, limit)


def _found(severity: Literal["note", "caution"], doubt: Doubt, remedy: str) -> Finding:
    return Finding(severity, doubt.code, doubt.where, doubt.message, remedy)


def _full_range_tone(out: SettingOut, end: End, limit: CleanLimit) -> Iterator[Finding]:
    """Say what a full-range tone would show here, since it is the tone most at hand."""
    instrument = by_preference(out, OTHER_TONE_HZ)[0][0]
    view = plain_view(out, replace(end, tone_hz=OTHER_TONE_HZ), limit, out.chain, instrument)
    for doubt in doubts(out, view):
        if doubt.code == "tone_filtered":
            solved = out.opened.solve(
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
