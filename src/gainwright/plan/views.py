"""The choice of a method to measure a source's clean limit: each candidate is solved before it is proposed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from gainwright.model import Amplifier, LevelControl, Multimeter, Recorder, may_connect
from gainwright.plan.distortion_seen import sees_distortion
from gainwright.plan.visibility import Doubt, View, by_preference, doubts
from gainwright.solve import Conditions, recorder_full_scale_v
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.source import CleanLimit
    from gainwright.solve import Chain


@dataclass(frozen=True, slots=True)
class MeasuringMethod:
    """Where and with what a limit is measured, the settings that differ from the plain method, and the remaining doubts."""

    view: View
    sets: dict[str, str]
    description: str
    doubts: tuple[Doubt, ...]


def plain_view(context: PlanContext, end: End, limit: CleanLimit, chain: Chain, instrument: str) -> View:
    """Return the view from the end of the chain with one instrument."""
    node = end.nodes[0]
    return View(
        chain, end, node, instrument, context.instruments[instrument], {}, limit.head, limit.onset, limit.level_dbfs
    )


def best_method(context: PlanContext, end: End, limit: CleanLimit) -> MeasuringMethod:
    """Return the first method without doubts, preferably one that also sees the node that clips first; else the first one."""
    tried: list[MeasuringMethod] = []
    for name, _ in by_preference(context, end.tone_hz):
        for way in _variants(context, plain_view(context, end, limit, context.opened, name)):
            tried.append(MeasuringMethod(way.view, way.sets, way.description, tuple(_all_doubts(context, way.view))))
            if not tried[-1].doubts and _behind(context, tried[-1], limit):
                return tried[-1]
    sees = [way for way in tried if not way.doubts or way.doubts[0].code not in ("no_divider", "no_instrument")]
    return next((way for way in sees if not way.doubts), (sees or tried)[0])


def _behind(context: PlanContext, way: MeasuringMethod, limit: CleanLimit) -> bool:
    """Return whether a method measures at the node that clips first or after it."""
    return way.view.node not in context.chain.wiring.upstream(limit.first.stage)


def doubts_as_set(context: PlanContext, end: End, limit: CleanLimit) -> list[Doubt]:
    """Return what would hide the limit from the preferred instrument with the job's own filter settings."""
    stand = {
        f"{n}.gain": context.opened.settings[f"{n}.gain"]
        for n in context.job.stages
        if f"{n}.gain" in context.opened.settings
    }
    name = by_preference(context, end.tone_hz)[0][0]
    view = replace(plain_view(context, end, limit, context.chain, name), settings=stand)
    return doubts(context, view)


def _all_doubts(context: PlanContext, view: View) -> list[Doubt]:
    if not isinstance(view.instrument, Multimeter) and not sees_distortion(view.instrument, view.end.tone_hz):
        message = say(
            "{instrument_name} has no mark for distortion of {tone_hz} Hz",
            instrument_name=view.instrument_name,
            tone_hz=f"{view.end.tone_hz:g}",
        )
        return [Doubt("no_instrument", view.instrument_name, message)]
    if not may_connect(view.instrument, context.job.stages[view.node.stage]):
        message = say(
            "{instrument_name} has no divider: it may not be connected to {node}, an output for speakers",
            instrument_name=view.instrument_name,
            node=view.node,
        )
        return [Doubt("no_divider", view.instrument_name, message)]
    found = doubts(context, view)
    if isinstance(view.instrument, Recorder) and not found:
        volts = _volts(context, view)
        full = recorder_full_scale_v(view.instrument)
        if volts > full:
            message = say(
                "{node} reaches {volts} V; {instrument_name} overloads at {full} V",
                node=view.node,
                volts=f"{volts:.3g}",
                instrument_name=view.instrument_name,
                full=f"{full:.3g}",
            )
            found.append(Doubt("recorder_overloads", view.instrument_name, message))
    return found


def _volts(context: PlanContext, view: View) -> float:
    solved = view.chain.solve(
        Conditions(
            view.end.tone_hz,
            view.level_dbfs,
            settings={**view.settings, f"{view.head}.volume": view.onset},
            unloaded=context.speakers,
        ),
        targets=(view.node,),
    )
    return float(solved.rms_v[0, solved.index(view.node)])


def _variants(context: PlanContext, plain: View) -> Iterator[MeasuringMethod]:
    yield MeasuringMethod(plain, {}, "", ())
    stage = plain.end.stage
    amplifier = context.job.stages[stage]
    if isinstance(amplifier, Amplifier) and not amplifier.gain.fixed:
        for percent in (10, 20, 30, 50):
            text = f"{percent} %"
            settings = {f"{stage}.gain": percent / 100}
            yield MeasuringMethod(
                replace(plain, settings=settings),
                {f"{stage}.gain": text},
                say("with {control} at {text}", control=f"{stage}.gain", text=text),
                (),
            )
    for node in plain.end.upstream:
        control = context.job.stages[node.stage]
        if isinstance(control, LevelControl):
            for down in (6, 12, 20):
                settings = {f"{node.stage}.level": -float(down)}
                sets = {f"{node.stage}.level": f"-{down} dB"}
                yield MeasuringMethod(
                    replace(plain, settings=settings),
                    sets,
                    say("with {stage} {down} dB down", stage=node.stage, down=down),
                    (),
                )
    for node in reversed(plain.end.upstream):
        if context.job.stages[node.stage].reachable and node not in context.chain.wiring.digital:
            yield MeasuringMethod(replace(plain, node=node), {}, say("measured at {node}", node=node), ())
