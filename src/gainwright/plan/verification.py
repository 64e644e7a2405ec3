"""The last steps: restore crossovers, prove them, compare levels and sides, note the highest clean volume, listen."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from gainwright.jobfile import volume_steps
from gainwright.model import LevelControl, Speaker, volume_of
from gainwright.plan.amplifier_controls import has_fixed_gain
from gainwright.plan.bands import pass_band_hz, series_filters
from gainwright.plan.capability import instrument_words
from gainwright.plan.clean_volume import clean_volume
from gainwright.plan.expected_readings import expect_target, volts_instrument
from gainwright.plan.outside import Sides, by_side
from gainwright.plan.polarity import polarity
from gainwright.plan.preparation import reconnect
from gainwright.plan.proofs import proofs
from gainwright.plan.result import Expect, Finding, Step
from gainwright.plan.settled import Settled
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import Node
    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.controls import FilterControl
    from gainwright.plan.result import Target
    from gainwright.plan.source import CleanLimit
    from gainwright.plan.stage_steps import SourceLimits

SIDE_MATCH_DB = 0.5
"""Sides that differ by more should be checked (common practice, no published source)."""


def restore(context: PlanContext) -> Iterator[Step]:
    """Yield a step for each filter to restore."""
    for control, (f, _) in context.moved_filters.items():
        yield Step(
            f"restore.{control}",
            "restore",
            f.node.stage,
            say("Set {control} back to {text}.", control=control, text=f.setting.text),
            say("It was opened only for the set-up. Connect no speaker before its filter is restored."),
            sets={control: f.setting.text},
        )


def settled_outputs(context: PlanContext, found: SourceLimits, targets: dict[str, Target]) -> list[Settled]:
    """Return the outputs of the ends after the set-up, those with speakers that a low tone destroys first."""
    ends = sorted(context.ends, key=lambda end: -_protected_below_hz(context, end))
    limits = found.governing_by_end()
    return [
        Settled(
            context, end, nodes, limits[end.stage], None if has_fixed_gain(context, end) else targets.get(end.stage)
        )
        for end in ends
        for nodes in _by_output(end)
    ]


def verify(context: PlanContext, found: SourceLimits, settled: list[Settled]) -> Iterator[Step | Finding]:
    """Yield the steps that prove the filters, compare levels and sides, note the volume, and check the sound.

    A filter that no reading can prove is a finding.
    """
    yield from proofs(context, settled)
    for one in settled:
        yield from _levels(context, one)
    for limit in found.governing.values():
        low, high = np.quantile(limit.volume, [0.025, 0.975])
        yield Step(
            f"verify.{limit.head}.volume",
            "verify",
            limit.head,
            say("Note the highest clean volume of {head} on the sheet and show it to the customer.", head=limit.head),
            _volume_why(context, limit),
            measure_at=f"{limit.head}.volume",
            expect=Expect("step", limit.middle, float(low), float(high), interval_95=True),
        )
    knobs = [n for n, s in context.job.stages.items() if isinstance(s, LevelControl)]
    note = (
        say(" With {part} fully up now, all that it is turned down later is reserve.", part=knobs[0]) if knobs else ""
    )
    yield from reconnect(context)
    yield from polarity(context)
    yield Step(
        "verify.sound",
        "verify",
        "",
        say("Play music softly, the volume at its lowest step, and raise it slowly."),
        say("Every speaker plays on its side, and none distorts.{note}", note=note),
    )


def _volume_why(context: PlanContext, limit: CleanLimit) -> str:
    held = clean_volume(context, limit, context.ends)
    steps = volume_steps(volume_of(context.job.stages[limit.head]))
    found = (
        say("Up to it, its highest step, nothing before the amplifiers is expected to clip, at any frequency.")
        if limit.middle >= steps
        else say(
            "Up to it nothing before the amplifiers clips, at any frequency; above it {stage} does.",
            stage=limit.first.stage,
        )
    )
    if held.clean_to_hz is None:
        return found
    return found + say(
        " But the source's own boost clips programme louder than {level} dBFS at {hz} Hz, at any volume.",
        level=f"{held.clean_to_dbfs:.1f}",
        hz=f"{held.clean_to_hz:.0f}",
    )


def _protected_below_hz(context: PlanContext, end: End) -> float:
    """Return below which frequency the most delicate speaker of an end must be protected, Hz; 0 for none."""
    stages = [context.job.stages[name] for name in end.speakers]
    below = [s.protect_below for s in stages if isinstance(s, Speaker) and s.protect_below is not None]
    return max((b.nominal for b in below if b.known), default=0.0)


def _by_output(end: End) -> list[tuple[Node, ...]]:
    outputs = dict.fromkeys(node.output for node in end.nodes)
    return [tuple(node for node in end.nodes if node.output == output) for output in outputs]


def _levels(context: PlanContext, settled: Settled) -> Iterator[Step]:
    """Yield the reading of each side with a tone that passes; none where one side alone stands as it was set."""
    end, back = settled.end, context.restored
    filters = series_filters(context.job, context.chain.wiring, settled.nodes[0])
    moved = [f.control for f in filters if f.control in context.moved_filters]
    if not moved and len(settled.nodes) == 1 and settled.target is not None:
        return
    tone_hz, level_dbfs = _passing_tone(context, settled, filters), -end.allowance_db
    volts = float(settled.volts(back, np.array([tone_hz]), level_dbfs)[0])
    low, high = settled.spread(back, tone_hz, level_dbfs)
    name, instrument = volts_instrument(context, tone_hz=tone_hz, volts=volts, node=settled.nodes[0])
    doubt = expect_target(instrument, volts, tone_hz=tone_hz)
    for i, node in enumerate(settled.nodes):
        match = 10 ** (SIDE_MATCH_DB / 20) if i else 1.0
        shifts = (min(low / volts, 1.0), max(high / volts, 1.0)) if volts > 0 else (1.0, 1.0)
        yield Step(
            f"verify.{node}",
            "verify",
            end.stage,
            say(
                "With {tone_hz} Hz at {part} dBFS and speakers still off, read {node} with {name}.",
                tone_hz=f"{tone_hz:g}",
                part=f"{-end.allowance_db:g}",
                node=node,
                name=instrument_words(context, name, node),
            ),
            _level_why(settled, i, moved),
            tone_hz,
            level_dbfs,
            str(node),
            name,
            Expect("v_rms", volts, doubt.low * shifts[0] / match, doubt.high * shifts[1] * match, interval_95=i == 0),
            **_outside(i),
            speakers_off=tuple(sorted(context.speakers)),
        )


def _outside(side: int) -> Sides:
    if side:
        return by_side(other=say("Apart from the other side: a lead, balance, or the control of one side."))
    return by_side(
        low=say("a filter of the wrong kind or corner, a lead, balance."),
        high=say("a control moved since it was set."),
    )


def _level_why(settled: Settled, side: int, moved: list[str]) -> str:
    if side:
        return say(
            "It checks the other side, within {SIDE_MATCH_DB} dB of {part}.",
            SIDE_MATCH_DB=f"{SIDE_MATCH_DB:g}",
            part=settled.nodes[0],
        )
    if moved:
        return say("It checks that the band still passes with {controls} back.", controls=", ".join(moved))
    if len(settled.nodes) == 1:
        return say("It is the level that this output delivers at the highest clean volume.")
    return say("It is the level as set, to compare the other side with.")


def _passing_tone(context: PlanContext, settled: Settled, filters: list[FilterControl]) -> float:
    """Return the set-up tone if the restored filters pass it within 6 dB, else the middle of the pass band."""
    if sum(f.loss_db(settled.end.tone_hz) for f in filters) < 6:
        return settled.end.tone_hz
    low, high = pass_band_hz(context.job, context.chain.wiring, settled.nodes[0])
    return float(f"{math.sqrt(low * high):.2g}")
