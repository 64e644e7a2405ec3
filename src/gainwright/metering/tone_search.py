"""Find the tone in a steady stretch: near the frequency that was asked for, else wherever it is; say what is there otherwise."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.metering.sine import SineFit, four_parameter_fit, frequency_start, three_parameter_fit
from gainwright.metering.spectrum import HIGH_HZ, LINE_BINS, LOW_HZ, Lines, lines, power_spectrum
from gainwright.texts import say

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

TONE_SHARE = 0.8
"""Share of the power that fundamental and harmonics must have for a recording to count as a tone."""
FUNDAMENTAL_SHARE = 0.1
"""Share of that power that the fundamental must have: with less (a THD over 300 %) the "harmonics" are a tone of their own."""
SAME_TONE = 0.01
"""Largest relative difference between the tone asked for and one that is taken for it. Clocks of players and recorders are
within 0.1 % (IEC 60958-3, level II, from memory); playing at the wrong sample rate, 44.1 for 48 kHz, is 8 % off."""
LOWEST_HZ = 5.0
MOST_TONES, TONE_LEAST_SHARE = 4, 0.01
"""Most tones that are named of several at once, and the least share of the power of each."""


@dataclass(frozen=True, slots=True)
class FoundTone:
    """A tone: its fit, and how its power is split into fundamental, harmonics and noise."""

    fit: SineFit
    split: Lines


def find_tone(part: Floats, *, rate_hz: int, power: float, expect_hz: float | None = None) -> FoundTone | str:
    """Return the tone near the expected frequency, else the strongest one anywhere; without any, why there is none.

    Parameters
    ----------
    part : a stretch of steady level, re full scale.
    power : its mean square without DC.
    expect_hz : the frequency that was asked for, if any.
    """
    if expect_hz is not None:
        near = _tone(part, rate_hz, power, expect_hz)
        if isinstance(near, FoundTone):
            return near
    found = _tone(part, rate_hz, power, None)
    if isinstance(found, FoundTone):
        return found
    several = tones_at_once(part, rate_hz=rate_hz)
    if len(several) > 1:
        listed = " / ".join(hertz(hz) for hz in several)
        return say("several tones at once, no single one: {tones}", tones=listed)
    return found


def _tone(part: Floats, rate_hz: int, power: float, expect_hz: float | None) -> FoundTone | str:
    start_hz = frequency_start(part, rate_hz=rate_hz, expect_hz=expect_hz)
    fit = four_parameter_fit(part, rate_hz=rate_hz, start_hz=start_hz)
    if not 0.5 * start_hz < fit.frequency_hz < 2 * start_hz:
        fit = three_parameter_fit(part, rate_hz=rate_hz, frequency_hz=start_hz)
    if not LOWEST_HZ <= fit.frequency_hz <= min(HIGH_HZ, 0.45 * rate_hz):
        return say("the strongest component, {hz} Hz, is outside the audio band", hz=f"{fit.frequency_hz:.0f}")
    split = lines(part, rate_hz=rate_hz, frequency_hz=fit.frequency_hz)
    fundamental = 0.5 * fit.amplitude**2
    tonal = fundamental + sum(split.harmonics.values())
    if not tonal >= TONE_SHARE * power or not np.isfinite(fit.amplitude):
        return say("there is no steady tone above the noise")
    if fundamental < FUNDAMENTAL_SHARE * tonal or split.fundamental <= 0:
        return say("there is no steady tone above the noise")
    return FoundTone(fit, split)


def other_than_asked(frequency_hz: float, expect_hz: float | None) -> bool:
    """Return whether a tone is another than the one that was asked for; never without one."""
    return expect_hz is not None and abs(frequency_hz / expect_hz - 1) > SAME_TONE


def tones_at_once(part: Floats, *, rate_hz: int) -> tuple[float, ...]:
    """Return the frequencies in Hz, lowest first, of the few lines that together have most of the power; none in noise or music."""
    power, count, _ = power_spectrum(part)
    first, end = math.ceil(LOW_HZ * count / rate_hz), int(min(HIGH_HZ, 0.5 * rate_hz) * count / rate_hz)
    left = power.copy()
    left[:first], left[end + 1 :] = 0.0, 0.0
    whole = float(np.sum(left))
    found: list[float] = []
    taken = 0.0
    while len(found) < MOST_TONES and taken < TONE_SHARE * whole:
        top = int(np.argmax(left))
        span = slice(max(0, top - LINE_BINS), top + LINE_BINS + 1)
        share = float(np.sum(left[span]))
        if share < TONE_LEAST_SHARE * whole:
            return ()
        bins = np.arange(span.start, min(span.stop, len(left)))
        found.append(float(np.dot(bins, left[span]) / share) * rate_hz / count)
        taken += share
        left[span] = 0.0
    return tuple(sorted(found)) if whole > 0 and taken >= TONE_SHARE * whole else ()


def hertz(frequency_hz: float) -> str:
    """Return a frequency to four digits with its unit: 315 Hz, 1 kHz."""
    scaled, unit = (frequency_hz / 1000, "kHz") if frequency_hz >= 999.95 else (frequency_hz, "Hz")
    return f"{scaled:.4g} {unit}"
