"""The last steps: restore crossovers, compare levels and sides, note the highest clean volume, listen."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from gainwright.model import LevelControl
from gainwright.plan import cautions
from gainwright.plan.context import DRAWS
from gainwright.plan.controls import passband_hz, path_filters
from gainwright.plan.expected_readings import expect_target, volts_instrument
from gainwright.plan.result import Expect, Step
from gainwright.plan.stage_steps import restored_chain
from gainwright.solve import Conditions
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.result import Target
    from gainwright.plan.stage_steps import SourceLimits
    from gainwright.solve import Chain

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
            cautions=(cautions.TWEETER_OPEN,) if f.kind == "high" else (),
            sets={control: f.setting.text},
        )


def verify(context: PlanContext, found: SourceLimits, targets: dict[str, Target]) -> Iterator[Step]:
    """Yield the steps that compare levels and sides, note the volume, and check the sound."""
    back = restored_chain(context)
    for end in context.ends:
        if end.stage in targets:
            yield from _verify_end(context, found, end, targets[end.stage], back)
    for limit in found.governing.values():
        low, high = np.quantile(limit.volume, [0.025, 0.975])
        yield Step(
            f"verify.{limit.head}.volume",
            "verify",
            limit.head,
            say("Note the highest clean volume of {head} on the sheet and show it to the customer.", head=limit.head),
            say("Above it the source itself distorts, whatever the amplifiers do."),
            measure_at=f"{limit.head}.volume",
            expect=Expect("step", limit.middle, float(low), float(high)),
        )
    knobs = [n for n, s in context.job.stages.items() if isinstance(s, LevelControl)]
    note = say(" {part} was set fully up; turned down, it leaves that much in reserve.", part=knobs[0]) if knobs else ""
    yield Step(
        "verify.sound",
        "verify",
        "",
        say(
            "Volume right down, tone off, engine off. Connect the speakers, play music softly and raise the volume slowly."
        ),
        say("Every speaker plays, none distorts, sides and polarity are right.{note}", note=note),
        cautions=(cautions.HEARING, cautions.HOT_OUTPUT),
    )


def _verify_end(context: PlanContext, found: SourceLimits, end: End, target: Target, back: Chain) -> Iterator[Step]:
    limit = found.governing[found.limits[end.stage].head]
    tone_hz = _passing_tone(context, end)
    ratio, low, high = _after_restoring(context, end, back, tone_hz, limit.head, limit.middle)
    for i, node in enumerate(end.nodes):
        volts = target.v_rms * ratio
        name, instrument = volts_instrument(context, tone_hz=tone_hz, volts=volts)
        doubt = expect_target(instrument, volts, tone_hz=tone_hz)
        match = 10 ** (SIDE_MATCH_DB / 20) if i else 1.0
        shift_low, shift_high = (low / ratio, high / ratio) if ratio > 0 else (1.0, 1.0)
        expect = Expect("v_rms", volts, doubt.low * shift_low / match, doubt.high * shift_high * match)
        first = (
            say("the restored filters")
            if i == 0
            else say(
                "the other side, within {SIDE_MATCH_DB} dB of {part}",
                SIDE_MATCH_DB=f"{SIDE_MATCH_DB:g}",
                part=end.nodes[0],
            )
        )
        yield Step(
            f"verify.{node}",
            "verify",
            end.stage,
            say(
                "With {tone_hz} Hz at {part} dBFS and speakers still off, read {node} with {name}.",
                tone_hz=f"{tone_hz:g}",
                part=f"{-end.allowance_db:g}",
                node=node,
                name=name,
            ),
            say("It checks {first}.", first=first),
            tone_hz,
            -end.allowance_db,
            str(node),
            name,
            expect,
            say("Lower: a filter of the wrong kind or corner, a lead, balance. Higher: a filter not restored."),
            True,
            (cautions.HOT_OUTPUT,),
            speakers_off=tuple(sorted(context.speakers)),
        )


def _passing_tone(context: PlanContext, end: End) -> float:
    """Return the set-up tone if the restored filters pass it within 6 dB, else the middle of the pass band."""
    loss = sum(f.loss_db(end.tone_hz) for f in path_filters(context.job, end.all_nodes))
    if loss < 6:
        return end.tone_hz
    low, high = passband_hz(context.job, end.path)
    return float(f"{math.sqrt(low * high):.2g}")


def _after_restoring(
    context: PlanContext, end: End, back: Chain, tone_hz: float, head: str, volume: float
) -> tuple[float, float, float]:
    """Return the ratio of the reading after to that before restoring the filters: nominal and 95 % interval."""
    level = -end.allowance_db - 60
    stand = {f"{head}.volume": volume}

    def both(draws: bool) -> np.ndarray:
        def solve(chain: Chain, hz: float) -> np.ndarray:
            values = context.drawn_for(chain) if draws else None
            asked = Conditions(hz, level, values=values, settings=stand, unloaded=context.speakers)
            solved = chain.solve(asked, targets=end.nodes[:1], margins=False)
            return np.broadcast_to(solved.rms_v[:, solved.index(end.nodes[0])], DRAWS if draws else 1)

        before, after = solve(context.opened, end.tone_hz), solve(back, tone_hz)
        return np.asarray(after[before > 0] / before[before > 0])

    spread = both(draws=True)
    low, high = np.quantile(spread, [0.025, 0.975])
    return float(both(draws=False)[0]), float(low), float(high)
