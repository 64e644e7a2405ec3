"""The steps from front to back: the source's clean limit, each processor and driver, each amplifier to its target."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.jobfile import volume_steps
from gainwright.model import Amplifier, Converter, Indicator, LineDriver, Multimeter, Processor, Recorder
from gainwright.plan import cautions
from gainwright.plan.reading import expect_set, expect_volts, volts_instrument
from gainwright.plan.result import Adjust, Finding, Step
from gainwright.plan.source import CleanLimit, clean_limit
from gainwright.plan.targets import gain_position
from gainwright.plan.views import Way, as_it_stands, best_way, plain_view
from gainwright.plan.visibility import by_preference, doubts
from gainwright.solve import Chain, Conditions, input_ohm

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import Instrument
    from gainwright.plan.result import Target
    from gainwright.plan.setting_out import End, SettingOut

OTHER_TONE_HZ = 1000.0


@dataclass(frozen=True, slots=True)
class Front:
    """What was found of everything before the amplifiers."""

    limits: dict[str, CleanLimit]
    governing: dict[str, CleanLimit]
    ways: dict[str, Way]

    def governing_by_end(self) -> dict[str, CleanLimit]:
        """Return for each end the limit that governs its head unit."""
        return {stage: self.governing[limit.head] for stage, limit in self.limits.items()}


def front(out: SettingOut) -> Front:
    """Find each end's clean limit, the lowest for each head unit, and the way to look at it."""
    limits = {end.stage: clean_limit(out, end) for end in out.ends}
    governing: dict[str, CleanLimit] = {}
    for limit in limits.values():
        best = governing.get(limit.head)
        if best is None:
            governing[limit.head] = limit
        else:
            lower = limit if limit.onset < best.onset else best
            volume = np.minimum(limit.volume, best.volume)
            governing[limit.head] = replace(lower, volume=volume, middle=min(limit.middle, best.middle))
    ways = {end.stage: best_way(out, end, limits[end.stage]) for end in out.ends}
    return Front(limits, governing, ways)


def source_steps(out: SettingOut, found: Front) -> Iterator[Step | Finding]:
    """Yield the source's clean limit for each output and tone, with what would have hidden it."""
    groups: dict[tuple[Any, ...], list[End]] = {}
    for end in out.ends:
        key = (*sorted({(n.stage, n.output) for n in out.sources(end)}), end.tone_hz)
        groups.setdefault(key, []).append(end)
    for ends in groups.values():
        end = ends[0]
        way, limit = found.ways[end.stage], found.limits[end.stage]
        yield from _hidden(out, end, limit, way)
        yield _source_step(out, end, limit, way)
        for other in ends[1:]:
            yield from _hidden(out, other, found.limits[other.stage], found.ways[other.stage])
    if len(groups) > 1:
        for limit in found.governing.values():
            low, high = np.quantile(limit.volume, [0.025, 0.975])
            yield Step(
                f"source.{limit.head}.limit",
                "source",
                limit.head,
                f"Put the volume of {limit.head} on the lowest of the steps found; write it down.",
                f"It is the highest clean volume of the whole system; expected step {limit.middle:g} ({low:.0f} to {high:.0f}).",
            )


def _source_step(out: SettingOut, end: End, limit: CleanLimit, way: Way) -> Step:
    view = way.view
    column = view.chain.nodes.index(view.node)
    solve = _at_volume(out, view.chain, end, limit, view.settings, {view.node: input_ohm(view.instrument)})
    expect = expect_volts(view.instrument, solve(None), solve(out.drawn_for(view.chain)), column, tone_hz=end.tone_hz)
    low, high = np.quantile(limit.volume, [0.025, 0.975])
    source = out.sources(end)[0]
    stand = f", {way.said}" if way.said and not way.said.startswith("measured") else ""
    room = "" if limit.level_dbfs == 0 else f" ({limit.level_dbfs:g} dBFS: its own boost leaves no room for full scale)"
    do = (
        f"Play {end.tone_hz:g} Hz at {limit.level_dbfs:g} dBFS{room}. With {view.instrument_name} at {view.node}{stand}, raise "
        f"the volume of {limit.head} step by step until {_sign(view.instrument)}; go back to the last clean step."
    )
    limiting = (
        "" if limit.first.stage == limit.head else f" Here {limit.first.stage} is expected to clip before the source."
    )
    why = (
        f"A source clips before its top: this finds the highest clean volume for {source.stage}.{source.output} at "
        f"{end.tone_hz:g} Hz. Expected at step {limit.middle:g} ({low:.0f} to {high:.0f}).{limiting}"
    )
    steps = volume_steps(out.job.stages[limit.head])  # type: ignore[arg-type]
    why += "" if limit.middle < steps else " It may stay clean to the top; then the top is the limit."
    return Step(
        f"source.{source.stage}.{source.output}.{end.tone_hz:g}hz.{end.stage}",
        "source",
        limit.head,
        do,
        why,
        end.tone_hz,
        limit.level_dbfs,
        str(view.node),
        view.instrument_name,
        expect,
        "Far lower: a lead, a filter left in, balance or fader, a level control down. Distorted from the first step: a "
        "boost, or a gain behind it too high.",
        not way.doubts,
        _measuring_cautions(out, end, view.instrument),
        sets=way.sets,
        adjust=Adjust(f"{limit.head}.volume", "last_clean"),
        speakers_off=tuple(sorted(out.speakers)),
    )


def _sign(instrument: Instrument) -> str:
    if isinstance(instrument, Indicator):
        return "it shows distortion"
    if isinstance(instrument, Recorder):
        return "the THD of the recording passes 1 %"
    return "the reading no longer rises as evenly as before (a step brings clearly less than the steps before it)"


def _measuring_cautions(out: SettingOut, end: End, instrument: Instrument) -> tuple[str, ...]:
    stage = out.job.stages[end.stage]
    found = [cautions.HOT_OUTPUT, cautions.HEARING]
    if isinstance(stage, Amplifier) and stage.bridged:
        found.insert(0, cautions.BRIDGED)
    if isinstance(instrument, Multimeter):
        found.insert(0, cautions.VOLTS_ONLY)
    if isinstance(instrument, Recorder):
        found.insert(0, cautions.RECORDER_VOLTS)
    return tuple(found)


def _at_volume(
    out: SettingOut, chain: Chain, end: End, limit: CleanLimit, settings: dict[str, Any], probes: dict[Any, float]
) -> Any:
    """Return a function that solves at the clean limit, for the middle (None) or for draws."""

    def solve(values: dict[str, Any] | None) -> Any:
        volume = limit.middle if values is None else limit.volume
        return chain.solve(
            Conditions(
                end.tone_hz,
                limit.level_dbfs,
                values=values,
                settings={**settings, f"{limit.head}.volume": volume},
                unloaded=out.speakers,
                probes=probes,
            )
        )

    return solve


def _hidden(out: SettingOut, end: End, limit: CleanLimit, way: Way) -> Iterator[Finding]:
    """Yield what would hide the limit as the job stands, and what the plan does instead (solved)."""
    view = way.view
    instead = way.said or f"{view.instrument_name} at {view.node}"
    own = out.moved_filters.items()
    opened = ", ".join(f"{c} {text}" for c, (f, text) in own if f.node in end.all_nodes)
    for doubt in as_it_stands(out, end, limit):
        if way.doubts:
            yield Finding(
                "caution",
                doubt.code,
                doubt.where,
                doubt.message,
                "no way to see it was found here: measure nearer to the source",
            )
            continue
        moved = f" with {opened}" if opened else ""
        yield Finding(
            "note", doubt.code, doubt.where, doubt.message, f"planned{moved}: {instead}; solved again: it shows"
        )
    for doubt in way.doubts:
        yield Finding(
            "caution",
            doubt.code,
            doubt.where,
            doubt.message,
            "no way to see it was found here: measure nearer to the source",
        )
    if way.said and not way.doubts:
        plain = plain_view(out, end, limit, out.opened, by_preference(out.instruments)[0][0])
        for doubt in doubts(out, plain):
            yield Finding(
                "note", doubt.code, doubt.where, doubt.message, f"planned: {way.said}; solved again: it shows"
            )
    if end.tone_hz != OTHER_TONE_HZ:
        yield from _full_range_tone(out, end, limit)


def _full_range_tone(out: SettingOut, end: End, limit: CleanLimit) -> Iterator[Finding]:
    """Say what a full-range tone would show here, since it is the tone most at hand."""
    view = plain_view(out, replace(end, tone_hz=OTHER_TONE_HZ), limit, out.chain, by_preference(out.instruments)[0][0])
    for doubt in doubts(out, view):
        if doubt.code == "tone_filtered":
            solved = out.opened.solve(Conditions(end.tone_hz, 0.0, settings={f"{limit.head}.volume": limit.middle}))
            volts = float(solved.rms_v[0, out.opened.nodes.index(end.nodes[0])])
            remedy = f"use {end.tone_hz:g} Hz here; solved again: {volts:.3g} V at {end.nodes[0]}"
            yield Finding("note", doubt.code, doubt.where, doubt.message, remedy)


def processor_steps(out: SettingOut, found: Front) -> Iterator[Step]:
    """Yield a look at each processor and driver at the source's clean limit, from the end of the chain."""
    for name in out.chain.wiring.order:
        stage = out.job.stages[name]
        if not isinstance(stage, Processor | LineDriver | Converter):
            continue
        for end in out.ends:
            nodes = [n for n in end.upstream if n.stage == name]
            if nodes:
                yield _processor_step(out, found, end, name, nodes[-1])


def _processor_step(out: SettingOut, found: Front, end: End, name: str, node: Any) -> Step:
    limit, way = found.governing[found.limits[end.stage].head], found.ways[end.stage]
    view = way.view
    solve = _at_volume(out, view.chain, end, limit, view.settings, {view.node: input_ohm(view.instrument)})
    middle, spread = solve(None), solve(out.drawn_for(view.chain))
    column, own = view.chain.nodes.index(view.node), view.chain.nodes.index(node)
    expect = expect_volts(view.instrument, middle, spread, column, tone_hz=end.tone_hz)
    margin = float(middle.margin_db[0, own])
    clips = float(np.mean(spread.margin_db[:, own] < -0.25))
    chance = "" if clips < 0.05 else f" It clips before the source in {100 * clips:.0f} % of chains like this."
    return Step(
        f"processor.{name}.{node.output}.{end.stage}",
        "processor",
        name,
        f"With {end.tone_hz:g} Hz at {limit.level_dbfs:g} dBFS and the volume at the clean limit, {view.instrument_name} at "
        f"{view.node} still shows a clean tone; if not, lower the level into {name} until it does.",
        f"{name} has {margin:.1f} dB left under its ceiling for {node.output}: nothing it adds may clip at full scale."
        + chance,
        end.tone_hz,
        limit.level_dbfs,
        str(view.node),
        view.instrument_name,
        expect,
        f"Lower: a level of {name} turned down, a mute, a filter. Distorted: its input is overdriven, or an output level is up.",
        not way.doubts,
        _measuring_cautions(out, end, view.instrument),
        sets=way.sets,
        speakers_off=tuple(sorted(out.speakers)),
    )


def amplifier_steps(out: SettingOut, found: Front, targets: dict[str, Target]) -> Iterator[Step]:
    """Yield each amplifier up to its target, its tone at minus the allowance."""
    for end in out.ends:
        if end.stage in targets:
            yield _amplifier_step(out, found, end, targets[end.stage])


def _amplifier_step(out: SettingOut, found: Front, end: End, target: Target) -> Step:
    limit = found.governing[found.limits[end.stage].head]
    name, instrument = volts_instrument(out, tone_hz=end.tone_hz, volts=target.v_rms)
    position = gain_position(out, end, limit, target.v_rms)
    node = end.nodes[0]
    sides = "" if len(end.nodes) == 1 else " Both sides share this control; the other side is compared at the end."
    reason = {
        "amplifier": "its rated power into this load",
        "speaker": "the speaker's rating",
        "clip": "its own ceiling at the running voltage",
        "source": "what the source can drive with the gain fully up",
    }[target.set_by]
    others = ", ".join(f"{k} {v:.3g} V" for k, v in sorted(target.candidates.items(), key=lambda c: c[1]))
    sees = [n for n, i in out.instruments.items() if not isinstance(i, Multimeter)]
    stop = f" or {sees[0]} shows distortion, whichever comes first" if sees else ""
    hot = (
        f" If it shows more with the gain at its lowest place, turn the volume down until it shows {target.v_rms:.3g} V: "
        "that is then the highest clean volume, and amplifiers already set are set again."
        if position <= 0.1
        else ""
    )
    volume = "" if limit.middle == limit.volume.max() == limit.volume.min() else " (the step found)"
    return Step(
        f"amplifier.{end.stage}",
        "amplifier",
        end.stage,
        f"Play {end.tone_hz:g} Hz at {-end.allowance_db:g} dBFS with the volume at its clean limit{volume}. Raise the gain of "
        f"{end.stage} until {name} at {node} shows {target.v_rms:.3g} V{stop}.{sides}{hot}",
        f"{target.v_rms:.3g} V is set by {reason} (lowest of: {others}). The {end.allowance_db:g} dB below full scale let "
        f"quieter recordings reach full output. Expect the gain near {100 * position:.0f} % of its travel.",
        end.tone_hz,
        -end.allowance_db,
        str(node),
        name,
        expect_set(instrument, target.v_rms, tone_hz=end.tone_hz),
        "Not reached with the gain fully up: too little comes in; look at the level before it. Reached at once: the gain "
        "is far more sensitive than its figures, or a boost is on.",
        True,
        _measuring_cautions(out, end, instrument),
        adjust=Adjust(f"{end.stage}.gain", "v_rms", target.v_rms),
        speakers_off=tuple(sorted(out.speakers)),
    )


def restored_chain(out: SettingOut) -> Chain:
    """Return the chain with its filters back where the job has them, all else as set."""
    starting = {c: t for c, t in out.starting_settings.items() if c not in out.moved_filters}
    return out.chain_with(starting)
