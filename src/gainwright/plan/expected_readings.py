"""Expected readings: samples of the chain as the instrument shows them, its own uncertainty included."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.jobfile import instruments
from gainwright.model import Indicator, Multimeter, Recorder, has_divider, may_connect
from gainwright.plan.result import Expect
from gainwright.solve import (
    InstrumentReading,
    lit_marks,
    meter_reading,
    monitored_value,
    reading_error_v,
    recorder_full_scale_v,
    recorder_reading,
)

if TYPE_CHECKING:
    from gainwright.model import Instrument, Job, Node
    from gainwright.plan.context import PlanContext
    from gainwright.solve import Solution

_SEED = 2
RARE = 0.025
"""A share of the draws that lies outside the 95 %."""


def instrument_reading(instrument: Instrument, solution: Solution, column: int, *, tone_hz: float) -> InstrumentReading:
    """Return the reading of an instrument at a node; for an indicator, which shows no number, the level itself."""
    if isinstance(instrument, Multimeter):
        return meter_reading(instrument, solution, column, tone_hz=tone_hz)
    if isinstance(instrument, Recorder):
        return recorder_reading(instrument, solution, column)
    value = solution.rms_v[:, column]
    return InstrumentReading(value, np.zeros_like(value), np.zeros_like(value))


def expect_volts(instrument: Instrument, middle: Solution, spread: Solution, column: int, *, tone_hz: float) -> Expect:
    """Return the expected volts rms with its 95 % interval, instrument included (JCGM 101:2008: by drawing).

    The instrument's bounds are taken as a rectangular distribution (JCGM 100:2008, 4.3.7).
    """
    value = float(instrument_reading(instrument, middle, column, tone_hz=tone_hz).value[0])
    shown = instrument_reading(instrument, spread, column, tone_hz=tone_hz)
    share = np.random.default_rng(_SEED).random(len(shown.value))
    readings = shown.value - shown.below + share * (shown.below + shown.above)
    low, high = np.nanquantile(readings, [0.025, 0.975]) if np.any(np.isfinite(readings)) else (value, value)
    expect = Expect("v_rms", value, min(float(low), value), max(float(high), value), interval_95=True)
    if not isinstance(instrument, Indicator):
        return expect
    lit = lit_marks(instrument, middle, column, tone_hz=tone_hz)
    lit_in = {name: float(np.mean(on)) for name, on in _lit_in_draws(instrument, spread, column, tone_hz).items()}
    return replace(
        expect,
        lit=tuple(name for name, on in lit.items() if on[0]),
        may_be_lit=tuple(name for name, s in lit_in.items() if RARE < s < 1 - RARE),
    )


def _lit_in_draws(indicator: Indicator, spread: Solution, column: int, tone_hz: float) -> dict[str, Any]:
    """Return mark -> in which draws it is lit, its threshold drawn too."""
    chance = np.random.default_rng(_SEED).random((len(spread.rms_v), len(indicator.marks)))
    return {
        name: monitored_value(mark, spread, column, tone_hz=tone_hz) >= mark.threshold.spread.quantile(chance[:, i])
        for i, (name, mark) in enumerate(indicator.marks.items())
    }


def expect_target(instrument: Instrument, volts: float, *, tone_hz: float) -> Expect:
    """Return the expected reading of a control turned up to a target voltage: the target within the instrument's bounds."""
    half = float(reading_error_v(instrument, volts))
    if isinstance(instrument, Multimeter):
        beyond = instrument.bandwidth is not None and tone_hz > instrument.bandwidth.nominal
        low = volts * 10 ** (-3 / 20) - half if beyond else volts - half
        return Expect("v_rms", volts, low, volts + half)
    return Expect("v_rms", volts, volts - half, volts + half)


def volts_instrument(
    context: PlanContext, *, tone_hz: float, volts: float, node: Node | None = None
) -> tuple[str, Instrument]:
    """Return the instrument for a voltage: a meter within its bandwidth, else a recorder not overloaded, else any meter.

    A recorder without a divider reads line outputs only. If nothing reads volts there: "" and the usual meter.

    Parameters
    ----------
    node : where it is read; an output for speakers when left out.
    """
    for name, instrument in context.instruments.items():
        if isinstance(instrument, Multimeter) and (
            instrument.bandwidth is None or tone_hz <= instrument.bandwidth.nominal
        ):
            return name, instrument
    for name, instrument in context.instruments.items():
        line = node is not None and may_connect(instrument, context.job.stages[node.stage])
        if not isinstance(instrument, Recorder) or not (line or has_divider(instrument)):
            continue
        if volts <= recorder_full_scale_v(instrument):
            return name, instrument
    return context.meter() or ("", _usual_meter(context.job))


def _usual_meter(job: Job) -> Instrument:
    """Return the multimeter that is assumed where a job names none."""
    return next(iter(instruments(job.model_copy(update={"instruments": {}})).values()))
