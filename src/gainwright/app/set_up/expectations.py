"""What to expect at a step after what the run has read at the same place: that reading, carried to the settings of this step."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from gainwright.app.set_up.step_settings import (
    DRAWS,
    SEED,
    found_gains,
    settings_during,
    solved_volts,
    stages_before,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.app.set_up.run import Run, StepState
    from gainwright.model import Instrument
    from gainwright.plan import Expect
    from gainwright.solve import Chain

MATCH_DB = 0.5
"""Sides that differ by more should be checked (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class Followed:
    """An expectation that follows from an earlier reading.

    Attributes
    ----------
    earlier, volts : the step where it was read, and what was read.
    """

    expect: Expect
    earlier: StepState
    volts: float


@dataclass(frozen=True, slots=True)
class _Read:
    """An earlier voltage with the settings at it."""

    state: StepState
    volts: float
    settings: dict[str, str]


def followed(run: Run, state: StepState, chain: Chain) -> Followed | None:
    """Return what follows from earlier readings for a step, None where none of them says anything about it.

    At an end whose gain was turned to a voltage, the readings after it follow the voltage that was reached in place of the target, with
    the plan's own interval. Elsewhere the earlier reading is carried over by the ratio of both voltages in the model: what
    is unknown of the chain but the same at both cancels; what stays is the steps of the volume between them, and the
    instruments. The other side of an output is expected as the first one, within 0.5 dB.

    Parameters
    ----------
    chain : of the job that the run's plan was made from.
    """
    expect = state.step.expect
    if expect is None or state.asked not in ("volts", "supply") or "-" in state.step.measure_at:
        return None
    if state.asked == "supply":
        return _supply(run, state, expect)
    if state.step.phase == "amplifier" and state.step.adjust is not None:
        return None
    if state.step.phase == "verify":
        found = _from_the_gain(run, state, expect, chain)
        if found is not None:
            return found
    return None if state.step.proves else _carried(run, state, chain)


def _volts_of(state: StepState) -> float | None:
    """Return the voltage that was read at a step, the last clean one of a column; None when there is none."""
    if state.state != "done" or state.entry is None or state.entry.kind != "reading":
        return None
    if state.asked == "column":
        limit = state.value.get("value")
        under = [v for s, v in state.rows if limit is not None and s <= float(limit)]
        return under[-1] if under and under[-1] else None
    value = state.value.get("value")
    return float(value) if state.asked in ("volts", "supply") and value else None


def _supply(run: Run, state: StepState, expect: Expect) -> Followed | None:
    for earlier in reversed(run.steps[: state.number - 1]):
        volts = _volts_of(earlier)
        if earlier.step.measure_at == state.step.measure_at and volts is not None and volts > 0:
            return Followed(_scaled(expect, volts / expect.value), earlier, volts)
    return None


def _scaled(expect: Expect, ratio: float) -> Expect:
    return replace(expect, value=expect.value * ratio, low=expect.low * ratio, high=expect.high * ratio)


def _from_the_gain(run: Run, state: StepState, expect: Expect, chain: Chain) -> Followed | None:
    """Return a step's own interval, moved by what was reached at its amplifier, or read at its first side, over what was expected."""
    stage = state.step.stage
    others = [s for s in run.steps[: state.number - 1] if s.step.stage == stage and s.step.expect is not None]
    turned = [s for s in others if s.step.phase == "amplifier" and s.step.adjust is not None]
    sides = [s for s in others if s.step.phase == "verify" and _same_but_for_the_side(s, state)]
    for earlier in (*reversed(sides), *reversed(turned)):
        volts, wanted = _volts_of(earlier), earlier.step.expect
        if volts is None or wanted is None or wanted.value <= 0 or not turned:
            continue
        moved = _scaled(expect, volts / wanted.value)
        return Followed(_with_doubt_of_both(moved, earlier, state, chain, volts), earlier, volts)
    return None


def _same_but_for_the_side(earlier: StepState, state: StepState) -> bool:
    """Return whether two steps read the two sides of one output with the same tone."""
    a, b = earlier.step, state.step
    sides = {"left", "right"}
    return (
        (a.tone_hz, a.level_dbfs, a.sets) == (b.tone_hz, b.level_dbfs, b.sets)
        and {a.measure_at.rpartition(".")[2], b.measure_at.rpartition(".")[2]} == sides
        and a.measure_at.rpartition(".")[0] == b.measure_at.rpartition(".")[0]
        and not a.proves
        and not b.proves
    )


def _carried(run: Run, state: StepState, chain: Chain) -> Followed | None:
    """Return the last reading at the same node, or else at the other side, carried over to the settings of a step."""
    before = [s for s in reversed(run.steps[: state.number - 1]) if s.step.tone_hz is not None and not s.step.proves]
    here = [s for s in before if s.step.measure_at == state.step.measure_at]
    sides = [s for s in before if s.asked in ("volts", "column") and _same_but_for_the_side(s, state)]
    if not any(_volts_of(earlier) for earlier in (*here, *sides)):
        return None
    gains = {control: found.place for control, found in found_gains(run, chain).items()}
    now = settings_during(run, state, gains=gains)
    for earlier in (*here, *sides):
        volts = _volts_of(earlier)
        if volts is None or volts <= 0:
            continue
        read = _Read(earlier, volts, _settings_at(run, earlier, gains))
        expect = _by_ratio(read, state, now, chain) if _same_gains(chain, state, now, read.settings) else None
        if expect is not None:
            match = 10 ** (MATCH_DB / 20) if earlier in sides else 1.0
            return Followed(replace(expect, low=expect.low / match, high=expect.high * match), earlier, volts)
    return None


def _settings_at(run: Run, state: StepState, gains: Mapping[str, str]) -> dict[str, str]:
    settings = settings_during(run, state, gains=gains)
    if state.asked == "column" and state.step.adjust is not None:
        limit = float(state.value["value"])
        settings[state.step.adjust.control] = f"{[s for s, _ in state.rows if s <= limit][-1]:g}"
    return settings


def _same_gains(chain: Chain, state: StepState, now: Mapping[str, str], then: Mapping[str, str]) -> bool:
    """Return whether no gain before a step's place stands elsewhere: how far a gain brings a level is the least known of all."""
    before = stages_before(chain.wiring, state.step.measure_at)
    return all(now.get(c) == then.get(c) for c in {*now, *then} if c.endswith(".gain") and c.split(".")[0] in before)


def _by_ratio(read: _Read, state: StepState, now: Mapping[str, str], chain: Chain) -> Expect | None:
    """Return a reading times the ratio of both voltages, over draws of the chain; None where the model gives no signal."""
    from gainwright.plan import Expect

    ratios = _ratios(read, state, now, chain)
    if ratios is None:
        return None
    low, middle, high = ratios
    volts = read.volts * middle
    down, up = _doubt(_instrument(chain, state), volts, state.step.tone_hz, same=_same_instrument(read.state, state))
    expect = Expect("v_rms", volts, read.volts * low * down, read.volts * high * up, interval_95=True)
    return _with_doubt_of_both(expect, read.state, state, chain, read.volts)


def _ratios(read: _Read, state: StepState, now: Mapping[str, str], chain: Chain) -> tuple[float, float, float] | None:
    """Return the voltage now over the one read, in the model: the 95 % interval and its middle."""
    import numpy as np

    a, b = read.state.step, state.step
    if now == read.settings and (a.tone_hz, a.level_dbfs, a.speakers_off) == (b.tone_hz, b.level_dbfs, b.speakers_off):
        return 1.0, 1.0, 1.0
    drawn = chain.draws(draws=DRAWS, seed=SEED, quick=True)
    then_v = solved_volts(read.state, chain, read.settings, values=drawn)
    now_v = solved_volts(state, chain, now, values=drawn)
    then_middle = float(solved_volts(read.state, chain, read.settings)[0])
    if np.min(then_v) <= 0 or then_middle <= 0:
        return None
    middle = float(solved_volts(state, chain, now)[0]) / then_middle
    low, high = (float(ratio) for ratio in np.quantile(now_v / then_v, [0.025, 0.975]))
    return (min(low, middle), middle, max(high, middle)) if middle > 0 else None


def _instrument(chain: Chain, state: StepState) -> Instrument:
    from gainwright.jobfile import instruments

    return instruments(chain.job)[state.step.instrument]


def _same_instrument(earlier: StepState, state: StepState) -> bool:
    return earlier.step.instrument == state.step.instrument and earlier.step.tone_hz == state.step.tone_hz


def _doubt(instrument: Instrument, volts: float, tone_hz: float | None, *, same: bool) -> tuple[float, float]:
    """Return the ends of a reading's interval over its true value; beyond a meter's bandwidth it may show 3 dB less.

    Parameters
    ----------
    same : whether the other reading is of the same instrument and tone: then both show as much less.
    """
    from gainwright.model import Multimeter
    from gainwright.solve import reading_error_v

    share = float(reading_error_v(instrument, volts)) / volts
    given = instrument.bandwidth if isinstance(instrument, Multimeter) else None
    beyond = given is not None and tone_hz is not None and tone_hz > given.nominal and not same
    return (10 ** (-3 / 20) if beyond else 1.0) - share, 1.0 + share


def _with_doubt_of_both(expect: Expect, earlier: StepState, state: StepState, chain: Chain, volts: float) -> Expect:
    """Return an interval wider by the doubt of the earlier reading; that of one and the same instrument is in it already."""
    if _same_instrument(earlier, state):
        return expect
    down, up = _doubt(_instrument(chain, earlier), volts, earlier.step.tone_hz, same=False)
    return replace(expect, low=expect.low / up, high=expect.high / down)
