"""The proof that a filter is back: a tone in its stop band, where back and left open differ most."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from gainwright.jobfile import controls
from gainwright.model import Amplifier, Multimeter, Recorder, may_connect
from gainwright.plan.capability import instrument_words
from gainwright.plan.expected_readings import expect_target
from gainwright.plan.outside import by_side
from gainwright.plan.result import Finding, Step
from gainwright.solve import PREFERRED_HZ, noise_v, recorder_full_scale_v
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gainwright.model import Instrument, Job
    from gainwright.plan.context import PlanContext
    from gainwright.plan.result import Expect
    from gainwright.plan.settled import Settled
    from gainwright.solve import Chain

ENOUGH_DB, PLENTY_DB = 6.0, 20.0
"""How far a filter left open reads outside the interval: enough for a meter to be preferred, and more needs nobody."""
LEAST_DB = 1.0
"""A filter left open that reads less than this outside the interval isn't reported (common practice, no published source)."""
BELOW_FULL_SCALE_DB = 3.0
"""Proofs are played at least this far below full scale, so that no stage before the filter distorts."""
METER_FROM_HZ = 40.0
"""Many handheld meters specify their AC ranges from 40 Hz on (common practice, no published source)."""
BY_HAND = 0.1
"""How far from its mark a knob for a corner may be put back, as a share (common practice, no published source)."""
NOISE_FACTOR = 2.0
"""A noise floor may be twice the expected one (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class Proof:
    """A reading that tells a filter that is back from one left open.

    Attributes
    ----------
    outside_db : how far a reading with the filter left open lies outside the expected interval.
    left_v : that reading, volts rms.
    """

    control: str
    settled: Settled
    tone_hz: float
    level_dbfs: float
    instrument_name: str
    instrument: Instrument
    expect: Expect
    left_v: float
    outside_db: float

    @property
    def rank(self) -> tuple[bool, bool, float, float]:
        """Return what is compared with other proofs: the highest is the best."""
        plain = isinstance(self.instrument, Multimeter) and _inside(self.instrument, self.tone_hz)
        enough = self.outside_db >= ENOUGH_DB
        return enough, plain and enough, min(self.outside_db, PLENTY_DB), self.expect.value


def proofs(context: PlanContext, settled: Sequence[Settled]) -> Iterator[Step | Finding]:
    """Yield a step for each filter that was moved, in the order of the ends, or the finding that nothing here can prove it."""
    back = context.restored
    best: dict[str, Proof] = {}
    for one in settled:
        for control, (f, _) in context.moved_filters.items():
            if f.node not in (*context.chain.wiring.upstream(one.end.stage), *one.nodes):
                continue
            found = _best(context, one, control, back)
            if found is not None and (control not in best or found.rank > best[control].rank):
                best[control] = found
    order = [s.end.stage for s in settled]
    outside = [p for p in best.values() if p.outside_db >= LEAST_DB]
    for proof in sorted(outside, key=lambda p: order.index(p.settled.end.stage)):
        yield _step(context, proof)
    for control in context.moved_filters:
        if control not in best or best[control].outside_db < LEAST_DB:
            yield _not_proved(control)


def _best(context: PlanContext, settled: Settled, control: str, back: Chain) -> Proof | None:
    """Return the best proof of one filter at one end, its interval drawn."""
    left = context.chain_with(
        {c: t for c, t in context.starting_settings.items() if c not in context.moved_filters or c == control}
    )
    level_dbfs = min(-settled.end.allowance_db, -BELOW_FULL_SCALE_DB)
    tones = np.array(PREFERRED_HZ)
    volts, open_volts = settled.volts(back, tones, level_dbfs), settled.volts(left, tones, level_dbfs)
    node = settled.nodes[0]
    floor = float(noise_v(back)[back.nodes.index(node)]) * NOISE_FACTOR
    found = []
    for name, instrument in context.instruments.items():
        power = context.job.stages[node.stage]
        if not isinstance(instrument, Multimeter | Recorder) or not may_connect(instrument, power):
            continue
        for tone_hz, v, left_v in zip(tones, volts, open_volts, strict=True):
            if v > 0 and _reads(instrument, tone_hz, max(v, left_v)):
                expect = _expected(instrument, float(v), floor, float(tone_hz))
                outside = _outside_db(expect, float(left_v))
                found.append(
                    Proof(
                        control, settled, float(tone_hz), level_dbfs, name, instrument, expect, float(left_v), outside
                    )
                )
    for proof in sorted(found, key=lambda p: p.rank, reverse=True)[:3]:
        low, high = settled.spread(back, proof.tone_hz, level_dbfs)
        value = proof.expect.value
        by_hand = _set_by_hand(context, settled, proof) or [value]
        bounds = (
            proof.expect.low * min(low / value, 1.0) * min(*by_hand, value) / value,
            proof.expect.high * max(high / value, 1.0) * max(*by_hand, value) / value,
        )
        expect = replace(proof.expect, low=bounds[0], high=bounds[1], interval_95=True)
        drawn = replace(proof, expect=expect, outside_db=_outside_db(expect, proof.left_v))
        if drawn.outside_db >= LEAST_DB:
            return drawn
    return None


def _set_by_hand(context: PlanContext, settled: Settled, proof: Proof) -> list[float]:
    """Return the reading with an amplifier's own filter put back a little too low and too high; empty for a number typed in."""
    f, _ = context.moved_filters[proof.control]
    if not isinstance(context.job.stages[f.node.stage], Amplifier) or f.setting.corner is None:
        return []
    plain = {c: t for c, t in context.starting_settings.items() if c not in context.moved_filters}
    found = []
    for factor in (1 - BY_HAND, 1 + BY_HAND):
        text = f"{f.setting.shape} {f.setting.slope_db_per_octave} at {factor * f.setting.corner.nominal:g} Hz"
        chain = context.chain_with({**plain, proof.control: text})
        found.append(float(settled.volts(chain, np.array([proof.tone_hz]), proof.level_dbfs)[0]))
    return found


def put_back_text(job: Job, control: str) -> str:
    """Return a filter's setting, with the doubt of the hand where it is a knob of an amplifier."""
    text = controls(job)[control]
    by_hand = isinstance(job.stages[control.split(".", maxsplit=1)[0]], Amplifier) and text != "off" and "±" not in text
    return f"{text} ± {100 * BY_HAND:g} %" if by_hand else text


def _reads(instrument: Instrument, tone_hz: float, highest_v: float) -> bool:
    """Return whether an instrument can show a tone, the filter back or not."""
    if isinstance(instrument, Recorder):
        rate_hz = instrument.rate.nominal if instrument.rate is not None and instrument.rate.known else 48e3
        return highest_v <= recorder_full_scale_v(instrument) and tone_hz < 0.45 * rate_hz
    return True


def _inside(meter: Multimeter, tone_hz: float) -> bool:
    return tone_hz >= METER_FROM_HZ and (meter.bandwidth is None or tone_hz <= meter.bandwidth.nominal)


def _expected(instrument: Instrument, volts: float, floor_v: float, tone_hz: float) -> Expect:
    """Return the expected reading with the instrument's doubt, and noise on top of a weak one."""
    with_noise = math.hypot(volts, floor_v)
    plain = expect_target(instrument, volts, tone_hz=tone_hz)
    return replace(plain, low=max(plain.low, 0.0), high=expect_target(instrument, with_noise, tone_hz=tone_hz).high)


def _outside_db(expect: Expect, left_v: float) -> float:
    """Return how far a reading lies outside an interval, dB; negative inside."""
    over = 20 * math.log10(left_v / expect.high)
    under = 20 * math.log10(expect.low / left_v) if expect.low > 0 else -math.inf
    return max(over, under)


def _step(context: PlanContext, proof: Proof) -> Step:
    node, control = proof.settled.nodes[0], proof.control
    return Step(
        f"verify.{control}",
        "verify",
        proof.settled.end.stage,
        say(
            "With {tone_hz} Hz at {level_dbfs} dBFS and speakers still off, read {node} with {name}.",
            tone_hz=f"{proof.tone_hz:g}",
            level_dbfs=f"{proof.level_dbfs:g}",
            node=node,
            name=instrument_words(context, proof.instrument_name, node),
        ),
        say(
            "It proves that {control} is back: left as it was opened, this reads about {left_v} V.",
            control=control,
            left_v=f"{proof.left_v:.3g}",
        ),
        proof.tone_hz,
        proof.level_dbfs,
        str(node),
        proof.instrument_name,
        proof.expect,
        **by_side(
            low=say("the level before it, a lead, or a steeper filter than in the job."),
            high=say(
                "{control} is still open, or its corner or slope is another. Connect no speaker.", control=control
            ),
        ),
        speakers_off=tuple(sorted(context.speakers)),
        proves=control,
        note=say("about {left_v} V", left_v=f"{proof.left_v:.3g}"),
    )


def _not_proved(control: str) -> Finding:
    return Finding(
        "caution",
        "filter_not_proved",
        control,
        say("no reading with the instruments at hand tells whether it is back where it was"),
        "",
    )
