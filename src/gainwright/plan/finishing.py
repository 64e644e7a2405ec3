"""The last steps: crossovers back, levels and sides compared, the highest clean volume noted, first sound."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from gainwright.model import LevelControl
from gainwright.plan import cautions
from gainwright.plan.controls import passband_hz, path_filters
from gainwright.plan.reading import expect_set, volts_instrument
from gainwright.plan.result import Expect, Step
from gainwright.plan.setting_out import DRAWS
from gainwright.plan.stages import restored_chain
from gainwright.solve import Conditions
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.plan.result import Target
    from gainwright.plan.setting_out import End, SettingOut
    from gainwright.plan.stages import Front
    from gainwright.solve import Chain

SIDE_MATCH_DB = 0.5
"""Sides that differ by more are worth a look (common practice, no published source)."""


def restore(out: SettingOut) -> Iterator[Step]:
    """Yield every filter back to its place."""
    for control, (f, _) in out.moved_filters.items():
        yield Step(
            f"restore.{control}",
            "restore",
            f.node.stage,
            say("Put {control} back: {text}.", control=control, text=f.setting.text),
            say("It was opened only for the setting. No speaker is connected before its filter is back."),
            cautions=(cautions.TWEETER_OPEN,) if f.kind == "high" else (),
            sets={control: f.setting.text},
        )


def verify(out: SettingOut, found: Front, targets: dict[str, Target]) -> Iterator[Step]:
    """Yield the comparison of levels and sides, the note of the volume, and the first sound."""
    back = restored_chain(out)
    for end in out.ends:
        if end.stage in targets:
            yield from _verify_end(out, found, end, targets[end.stage], back)
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
    knobs = [n for n, s in out.job.stages.items() if isinstance(s, LevelControl)]
    told = (
        say(" {part} passes everything at its top; turned back it leaves that much in reserve.", part=knobs[0])
        if knobs
        else ""
    )
    yield Step(
        "verify.sound",
        "verify",
        "",
        say("Volume right down, tone off, engine off. Connect the speakers, play music softly and raise it slowly."),
        say("Every speaker is heard, none distorted, sides and polarity in order.{told}", told=told),
        cautions=(cautions.HEARING, cautions.HOT_OUTPUT),
    )


def _verify_end(out: SettingOut, found: Front, end: End, target: Target, back: Chain) -> Iterator[Step]:
    limit = found.governing[found.limits[end.stage].head]
    tone_hz = _passing_tone(out, end)
    ratio, low, high = _after_restoring(out, end, back, tone_hz, limit.head, limit.middle)
    for i, node in enumerate(end.nodes):
        volts = target.v_rms * ratio
        name, instrument = volts_instrument(out, tone_hz=tone_hz, volts=volts)
        doubt = expect_set(instrument, volts, tone_hz=tone_hz)
        match = 10 ** (SIDE_MATCH_DB / 20) if i else 1.0
        shift_low, shift_high = (low / ratio, high / ratio) if ratio > 0 else (1.0, 1.0)
        expect = Expect("v_rms", volts, doubt.low * shift_low / match, doubt.high * shift_high * match)
        first = (
            say("the filters back")
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
            say("It proves {first}.", first=first),
            tone_hz,
            -end.allowance_db,
            str(node),
            name,
            expect,
            say("Lower: a filter of the wrong kind or corner, a lead, balance. Higher: a filter not back in place."),
            True,
            (cautions.HOT_OUTPUT,),
            speakers_off=tuple(sorted(out.speakers)),
        )


def _passing_tone(out: SettingOut, end: End) -> float:
    """Return the set-up tone if the restored filters pass it within 6 dB, else the middle of the pass band."""
    loss = sum(f.loss_db(end.tone_hz) for f in path_filters(out.job, end.all_nodes))
    if loss < 6:
        return end.tone_hz
    low, high = passband_hz(out.job, end.path)
    return float(f"{math.sqrt(low * high):.2g}")


def _after_restoring(
    out: SettingOut, end: End, back: Chain, tone_hz: float, head: str, volume: float
) -> tuple[float, float, float]:
    """Return reading after over reading before restoring at the same settings: middle and 95 % interval."""
    level = -end.allowance_db - 60
    stand = {f"{head}.volume": volume}

    def both(draws: bool) -> np.ndarray:
        def solve(chain: Chain, hz: float) -> np.ndarray:
            values = out.drawn_for(chain) if draws else None
            asked = Conditions(hz, level, values=values, settings=stand, unloaded=out.speakers)
            solved = chain.solve(asked, targets=end.nodes[:1], margins=False)
            return np.broadcast_to(solved.rms_v[:, solved.index(end.nodes[0])], DRAWS if draws else 1)

        before, after = solve(out.opened, end.tone_hz), solve(back, tone_hz)
        return np.asarray(after[before > 0] / before[before > 0])

    spread = both(draws=True)
    low, high = np.quantile(spread, [0.025, 0.975])
    return float(both(draws=False)[0]), float(low), float(high)
