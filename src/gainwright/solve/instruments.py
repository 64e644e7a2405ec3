"""The reading of an instrument at a node, and its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.model import Indicator, Multimeter, Recorder
from gainwright.physics import average_responding_reading, reading_half_width

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.model import Instrument, Mark, Node
    from gainwright.solve.solution import Solution

    Floats = npt.NDArray[np.float64]

LOWEST_RANGE_V = 0.6
"""The finest range of a handheld meter is that of a few hundred millivolts (common practice, no published source)."""
RANGES, ROUNDING = 12, 1e-12
"""Ranges that a meter has at most, each ten times the one before; a reading that fills a range up to rounding is still in it."""

AT_ONCE = 512
"""Waves of which a rectified mean is formed at once."""
RECORDER_DB = 0.05
"""Stability of a recorder's calibration (common practice, no published source)."""
DIVIDER_DB = 0.4
"""How well a divider before a recorder is known where the job doesn't say: resistors of 1 to 5 %, and the recorder's input
resistance beside the shunt (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class InstrumentReading:
    """A reading and its error limits: the true value is within `value - below` and `value + above`, volts, shape (cases,)."""

    value: Floats
    below: Floats
    above: Floats


def resolution_v(meter: Multimeter, reading_v: Any) -> Floats:
    """Return the last digit of the range of a reading: 6000 counts make ranges of 0.6, 6, 60, 600 V."""
    counts = float(meter.counts or 4000)
    finest = np.ceil(np.log10(LOWEST_RANGE_V / counts))
    digits = 10 ** np.arange(finest, finest + RANGES)
    which = np.searchsorted(digits * counts * (1 + ROUNDING), np.abs(reading_v))
    return np.asarray(digits[np.minimum(which, RANGES - 1)])


def accuracy_of(meter: Multimeter) -> tuple[float, int]:
    """Return a meter's accuracy as a fraction of the reading and counts of its last digit."""
    return (meter.accuracy.ratio, meter.accuracy.counts) if meter.accuracy else (0.015, 5)


def reading_error_v(instrument: Instrument, reading_v: Any) -> Any:
    """Return the largest error of a reading, volts.

    A meter's accuracy; a recorder's drift, and how far its divider is known on top; for an indicator, 0.05 dB.
    """
    if isinstance(instrument, Multimeter):
        ratio, counts = accuracy_of(instrument)
        last_digit = resolution_v(instrument, reading_v)
        return reading_half_width(reading=reading_v, accuracy_ratio=ratio, counts=counts, resolution=last_digit)
    divider = divider_error_db(instrument) if isinstance(instrument, Recorder) else 0.0
    return reading_v * (10 ** ((RECORDER_DB + divider) / 20) - 1)


def divider_error_db(recorder: Recorder) -> float:
    """Return how far the attenuation before a recorder may lie from its figure, dB; 0 without a divider."""
    given = recorder.attenuator
    if given is None or not given.known or given.nominal == 0:
        return 0.0
    low, high = given.interval
    return (high - low) / 2 if high > low else DIVIDER_DB


def meter_value(meter: Multimeter, solution: Solution, column: int) -> Floats:
    """Return what a multimeter without errors shows on its AC volts range at a node; see `meter_reading`."""
    if meter.true_rms:
        return solution.rms_at(column)
    return np.asarray(average_responding_reading(mean_abs=_rectified_mean(solution.harmonics_at(column))))


def meter_reading(meter: Multimeter, solution: Solution, column: int, *, tone_hz: Any) -> InstrumentReading:
    """Return the reading of a multimeter on its AC volts range at a node.

    A true-rms meter shows the rms; an average-responding one the rectified mean of the first twenty harmonics, scaled
    for a sine. Its accuracy holds up to its bandwidth; beyond, the reading is unknown between -3 dB and 0.
    """
    value = meter_value(meter, solution, column)
    half = reading_error_v(meter, value)
    bandwidth_hz = meter.bandwidth.nominal if meter.bandwidth else 400.0
    beyond = np.asarray(tone_hz) > bandwidth_hz
    return InstrumentReading(value, half + np.where(beyond, (1 - 10 ** (-3 / 20)) * value, 0.0), half)


def _rectified_mean(harmonics: npt.NDArray[np.complex128]) -> Floats:
    first = np.abs(harmonics[:, 0])
    mean = first * 2 / np.pi
    bent = np.flatnonzero(np.sum(np.abs(harmonics[:, 1:]), axis=1) > 1e-3 * first)
    angle = np.outer(np.arange(1, harmonics.shape[1] + 1), np.arange(512) * (2 * np.pi / 512))
    turns = np.concatenate([np.cos(angle), -np.sin(angle)])
    for begin in range(0, len(bent), AT_ONCE):  # few at a time: their waves stay in the processor's cache
        rows = bent[begin : begin + AT_ONCE]
        waves = np.concatenate([harmonics[rows].real, harmonics[rows].imag], axis=1) @ turns
        mean[rows] = np.mean(np.abs(waves, out=waves), axis=1)
    return np.asarray(mean)


def recorder_reading(recorder: Recorder, solution: Solution, column: int) -> InstrumentReading:
    """Return the reading of a recorder: the rms, with its drift and its divider's error; NaN when it overloads."""
    value = solution.rms_at(column)
    peak = value * np.sqrt(2)
    value = np.where(peak > recorder_full_scale_v(recorder) * np.sqrt(2) * 1.0001, np.nan, value)
    half = reading_error_v(recorder, value)
    return InstrumentReading(value, half, half)


def recorder_full_scale_v(recorder: Recorder) -> float:
    """Return the rms of the largest sine a recorder can measure with its attenuator, volts."""
    attenuation_db = abs(recorder.attenuator.nominal) if recorder.attenuator else 0.0
    return float(recorder.full_scale.nominal * 10 ** (attenuation_db / 20))


def monitored_value(mark: Mark, solution: Solution, column: int, *, tone_hz: float) -> Floats:
    """Return the quantity that a mark monitors at a node: volts rms, or the distortion as a ratio; shape (cases,).

    Signals outside the band that a mark is tuned to don't count: a level keeps the harmonics inside it, the tone and
    its distortion count entirely or not at all.
    """
    if mark.of == "level" and mark.tuned is None:
        return np.asarray(solution.rms_at(column))
    if mark.of == "level":
        amplitude = np.abs(solution.harmonics_at(column))
        orders = range(1, amplitude.shape[1] + 1)
        amplitude = amplitude[:, [mark.passes(float(order) * tone_hz) for order in orders]]
        return np.asarray(np.sqrt(0.5 * np.sum(amplitude**2, axis=1)))
    if not mark.passes(tone_hz):
        return np.zeros(len(solution.rms_at(column)))
    if mark.of == "fundamental":
        return np.asarray(np.abs(solution.fundamental_at(column)))
    return np.asarray(np.nan_to_num(solution.thd_at(column), nan=0.0))


def lit_marks(
    indicator: Indicator, solution: Solution, column: int, *, tone_hz: float
) -> dict[str, npt.NDArray[np.bool_]]:
    """Return for each mark of an indicator whether it is lit, shape (cases,), independently of the others."""
    return {
        name: monitored_value(mark, solution, column, tone_hz=tone_hz) >= mark.threshold.nominal
        for name, mark in indicator.marks.items()
    }


def grounded_nodes(instrument: Instrument, node: Node) -> frozenset[Node]:
    """Return the node at which an instrument is connected if it is grounded: a recorder without a balanced input is."""
    return frozenset({node}) if isinstance(instrument, Recorder) and not instrument.balanced else frozenset()


def input_ohm(instrument: Instrument) -> float:
    """Return an instrument's input resistance, ohm."""
    given = instrument.input_impedance
    if given is not None and given.known:
        return float(given.nominal)
    return {"multimeter": 10e6, "recorder": 10e3, "indicator": 1e6}[instrument.kind]
