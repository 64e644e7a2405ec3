"""The steps from front to back: the source's clean limit, each processor and driver, each amplifier to its target."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.jobfile import volume_steps
from gainwright.model import Amplifier, Indicator, Recorder, volume_of
from gainwright.plan.amplifier_controls import fixed_gain_step
from gainwright.plan.capability import finds_limit, instrument_words, watching
from gainwright.plan.clean_volume import worse_tones
from gainwright.plan.distortion_seen import distortion_mark
from gainwright.plan.expected_readings import expect_target, expect_volts, volts_instrument
from gainwright.plan.hidden_limits import hidden_earlier, hidden_limit
from gainwright.plan.inner_amplifiers import inner_steps
from gainwright.plan.other_sides import other_sides
from gainwright.plan.outside import of_turned_gain
from gainwright.plan.result import Adjust, Finding, Step
from gainwright.plan.source import CleanLimit, clean_limit
from gainwright.plan.targets import gain_position
from gainwright.plan.views import MeasuringMethod, best_method
from gainwright.solve import Conditions, grounded_nodes, input_ohm
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import Instrument, Node
    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.result import Target
    from gainwright.plan.visibility import View
    from gainwright.solve import Solution


@dataclass(frozen=True, slots=True)
class SourceLimits:
    """The clean limits of the sources, by end and by head unit, and the ways to measure them.

    Attributes
    ----------
    limits, ways : end's stage -> at its set-up tone.
    earlier : ends with a tone at which something clips earlier, their limits and ways.
    governing : head unit -> the lowest of all its limits.
    """

    limits: dict[str, CleanLimit]
    governing: dict[str, CleanLimit]
    ways: dict[str, MeasuringMethod]
    earlier: tuple[tuple[End, CleanLimit, MeasuringMethod], ...]

    def governing_by_end(self) -> dict[str, CleanLimit]:
        """Return for each end the limit that governs its head unit."""
        return {stage: self.governing[limit.head] for stage, limit in self.limits.items()}


def source_limits(context: PlanContext) -> SourceLimits:
    """Return each end's clean limit, the lowest for each head unit at any frequency, and the way to measure each."""
    limits = {end.stage: clean_limit(context, end) for end in context.ends}
    ways = {end.stage: best_method(context, end, limits[end.stage]) for end in context.ends}
    governing, earlier = {}, []
    for head in dict.fromkeys(limit.head for limit in limits.values()):
        mine = [limit for limit in limits.values() if limit.head == head]
        ends = [end for end in context.ends if limits[end.stage].head == head]
        for end in worse_tones(context, ends, min(limit.onset for limit in mine)):
            limit = clean_limit(context, end)
            mine.append(limit)
            earlier.append((end, limit, best_method(context, end, limit)))
        lowest = min(mine, key=lambda limit: limit.onset)
        volume = np.min(np.stack(np.broadcast_arrays(*[limit.volume for limit in mine])), axis=0)
        governing[head] = replace(lowest, volume=volume, middle=min(limit.middle for limit in mine))
    return SourceLimits(limits, governing, ways, tuple(earlier))


def source_steps(context: PlanContext, found: SourceLimits) -> Iterator[Step | Finding]:
    """Yield the step that finds the source's clean limit for each output and tone, with findings on what would hide it."""
    groups: dict[tuple[Any, ...], list[End]] = {}
    for end in context.ends:
        key = (*sorted({(n.stage, n.output) for n in context.sources(end)}), end.tone_hz)
        groups.setdefault(key, []).append(end)
    for ends in groups.values():
        end = ends[0]
        way, limit = found.ways[end.stage], found.limits[end.stage]
        yield from hidden_limit(context, end, limit, way)
        step = _source_step(context, end, limit, way)
        yield step
        yield from _others(context, limit, way, step)
        for other in ends[1:]:
            yield from hidden_limit(context, other, found.limits[other.stage], found.ways[other.stage])
    for end, limit, way in found.earlier:
        yield from hidden_earlier(context, end, way)
        step = _source_step(context, end, limit, way)
        earlier = say(
            "At {tone_hz} Hz {stage} clips earlier than at the other tones. ",
            tone_hz=f"{end.tone_hz:g}",
            stage=limit.first.stage,
        )
        yield replace(step, why=earlier + step.why)
    if len(groups) + len(found.earlier) > 1:
        for limit in found.governing.values():
            low, high = np.quantile(limit.volume, [0.025, 0.975])
            yield Step(
                f"source.{limit.head}.limit",
                "source",
                limit.head,
                say("Set the volume of {head} to the lowest of the steps found, and write it down.", head=limit.head),
                say(
                    "It is the highest clean volume of the whole system; expected step {middle}{span}.",
                    middle=f"{limit.middle:g}",
                    span=_span(low, high),
                ),
            )


def _others(context: PlanContext, limit: CleanLimit, way: MeasuringMethod, step: Step) -> Iterator[Step]:
    return other_sides(context, way, step, lambda view: at_volume(context, view, limit, (view.node,)))


def _source_step(context: PlanContext, end: End, limit: CleanLimit, way: MeasuringMethod) -> Step:
    view = way.view
    middle, spread = at_volume(context, view, limit, (view.node,))
    expect = expect_volts(view.instrument, middle, spread, middle.index(view.node), tone_hz=end.tone_hz)
    source = context.sources(end)[0]
    shows = finds_limit(view.instrument, context.job.stages[view.node.stage], end.tone_hz)
    stand = (
        say(", {way}", way=way.description) if way.description and not way.description.startswith("measured") else ""
    )
    room = (
        ""
        if limit.level_dbfs == 0
        else say(
            " ({level_dbfs} dBFS: its own boost leaves no room for full scale)", level_dbfs=f"{limit.level_dbfs:g}"
        )
    )
    do = say(
        "Turn the volume of {head} to its lowest step and play {tone_hz} Hz at {level_dbfs} dBFS{room}. With {instrument_name} at {node}{stand}, raise the volume step by step until {sign}; go back to the last clean step.",
        tone_hz=f"{end.tone_hz:g}",
        level_dbfs=f"{limit.level_dbfs:g}",
        room=room,
        instrument_name=instrument_words(context, view.instrument_name if shows else "", view.node),
        node=view.node,
        stand=stand,
        head=limit.head,
        sign=_sign(view.instrument if shows else None, end.tone_hz),
    )
    return Step(
        f"source.{source.stage}.{source.output}.{end.tone_hz:g}hz.{end.stage}",
        "source",
        limit.head,
        do,
        _source_why(context, end, limit),
        end.tone_hz,
        limit.level_dbfs,
        str(view.node),
        view.instrument_name,
        expect,
        say(
            "Far lower: a lead, a filter left in, balance or fader, a level control down. Distorted from the first step: a boost, or a gain after it too high."
        ),
        not way.doubts,
        sets=way.sets,
        adjust=Adjust(f"{limit.head}.volume", "last_clean"),
        if_low=say("it distorts earlier than expected: a boost or loudness is on, or a gain after it is too high."),
        speakers_off=tuple(sorted(context.speakers)),
    )


def _source_why(context: PlanContext, end: End, limit: CleanLimit) -> str:
    source = context.sources(end)[0]
    low, high = np.quantile(limit.volume, [0.025, 0.975])
    steps = volume_steps(volume_of(context.job.stages[limit.head]))
    limiting = (
        ""
        if limit.first.stage == limit.head
        else say(" Here {stage} is expected to clip before the source.", stage=limit.first.stage)
    )
    top = "" if limit.middle < steps else say(" It may stay clean up to its highest step; then that is the limit.")
    return say(
        "A source may clip below its highest step: this finds the highest clean volume for {output} at {tone_hz} Hz. Expected at step {middle}{span}.{limiting}{top}",
        output=f"{source.stage}.{source.output}",
        tone_hz=f"{end.tone_hz:g}",
        middle=f"{limit.middle:g}",
        span=_span(low, high),
        limiting=limiting,
        top=top,
    )


def _span(low: float, high: float) -> str:
    """Return an interval of steps; nothing where both ends are one step."""
    return "" if round(low) == round(high) else say(" ({low} to {high})", low=f"{low:.0f}", high=f"{high:.0f}")


def _sign(instrument: Instrument | None, tone_hz: float) -> str:
    if isinstance(instrument, Indicator):
        return say("its mark {mark} lights", mark=distortion_mark(instrument, tone_hz))
    if isinstance(instrument, Recorder):
        return say("the THD of the recording exceeds 1 %")
    return say("the reading no longer rises as evenly as before (a step adds clearly less than the steps before it)")


def at_volume(
    context: PlanContext, view: View, limit: CleanLimit, targets: tuple[Node, ...]
) -> tuple[Solution, Solution]:
    """Return nodes solved at the clean limit: at nominal values, and for draws."""

    def solve(values: dict[str, Any] | None) -> Solution:
        volume = limit.middle if values is None else limit.volume
        asked = Conditions(
            view.end.tone_hz,
            limit.level_dbfs,
            values=values,
            settings={**view.settings, f"{limit.head}.volume": volume},
            unloaded=context.speakers,
            probes={view.node: input_ohm(view.instrument)},
            grounded=grounded_nodes(view.instrument, view.node),
        )
        return view.chain.solve(asked, targets=targets)

    return solve(None), solve(context.drawn_for(view.chain))


def amplifier_steps(context: PlanContext, found: SourceLimits, targets: dict[str, Target]) -> Iterator[Step]:
    """Yield the step that sets each amplifier, those before other stages first; at an end to its target, less the allowance."""
    yield from inner_steps(context, found.governing_by_end())
    for end in context.ends:
        stage = context.job.stages[end.stage]
        if end.stage not in targets:
            continue
        if isinstance(stage, Amplifier) and stage.gain.fixed:
            limit = found.governing[found.limits[end.stage].head]
            yield fixed_gain_step(context, end, limit, targets[end.stage])
        else:
            yield _amplifier_step(context, found, end, targets[end.stage])


REASONS = {
    "amplifier": "its rated power into this load",
    "speaker": "the speaker's rating",
    "clip": "its own ceiling at the running voltage",
    "source": "what the source can drive with the gain fully up",
}
"""Texts for what sets a target."""


FAR_DB = 6.0
"""A candidate for a target that lies this far above the lowest says nothing (common practice, no published source)."""


def _near(target: Target) -> str:
    """Return what else limits a target, without what lies far above it."""
    near = {k: v for k, v in target.candidates_v_rms.items() if v < target.v_rms * 10 ** (FAR_DB / 20)}
    texts = [
        say("{reason} {v_rms} V", reason=say(REASONS[k]), v_rms=f"{v:.3g}")
        for k, v in sorted(near.items(), key=lambda c: c[1])
        if k != target.set_by
    ]
    return say("; next: {others}", others=joined(texts)) if texts else ""


def _amplifier_step(context: PlanContext, found: SourceLimits, end: End, target: Target) -> Step:
    limit = found.governing[found.limits[end.stage].head]
    name, instrument = volts_instrument(context, tone_hz=end.tone_hz, volts=target.v_rms, node=end.nodes[0])
    position = gain_position(context, end, limit, target.v_rms)
    node = end.nodes[0]
    sides = "" if len(end.nodes) == 1 else say(" Both sides share this control; the other side is compared at the end.")
    others = _near(target)
    watch = watching(context, end.stage, end.tone_hz)
    stop = (
        say(" or {part} shows distortion, whichever comes first", part=instrument_words(context, watch, node))
        if watch
        else ""
    )
    hot = (
        say(
            " If it shows more with the gain at its lowest position, turn the volume down until it shows {v_rms} V: that is then the highest clean volume, and amplifiers already set must be set again.",
            v_rms=f"{target.v_rms:.3g}",
        )
        if position <= 0.1
        else ""
    )
    volume = "" if limit.middle == limit.volume.max() == limit.volume.min() else say(" (the step found)")
    return Step(
        f"amplifier.{end.stage}",
        "amplifier",
        end.stage,
        say(
            "Play {tone_hz} Hz at {part} dBFS with the volume at its clean limit{volume}. Raise the gain of {stage} until {name} at {node} shows {v_rms} V{stop}.{sides}{hot}",
            tone_hz=f"{end.tone_hz:g}",
            part=f"{-end.allowance_db:g}",
            volume=volume,
            stage=end.stage,
            name=instrument_words(context, name, node),
            node=node,
            v_rms=f"{target.v_rms:.3g}",
            stop=stop,
            sides=sides,
            hot=hot,
        ),
        say(
            "{v_rms} V is set by {reason}{others}. The {allowance_db} dB below full scale let quieter recordings reach full output. Expect the gain near {part} % of its travel.",
            v_rms=f"{target.v_rms:.3g}",
            reason=say(REASONS[target.set_by]),
            others=others,
            allowance_db=f"{end.allowance_db:g}",
            part=f"{100 * position:.0f}",
        ),
        end.tone_hz,
        -end.allowance_db,
        str(node),
        name,
        expect_target(instrument, target.v_rms, tone_hz=end.tone_hz),
        say(
            "Not reached with the gain fully up: the input level is too low; check the level before it. Reached at once: the gain is far more sensitive than specified, or a boost is on."
        ),
        adjust=Adjust(f"{end.stage}.gain", "v_rms", target.v_rms),
        **of_turned_gain(),
        speakers_off=tuple(sorted(context.speakers)),
    )
