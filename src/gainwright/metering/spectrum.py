"""Harmonics and noise of a steady tone from its averaged power spectrum.

Segments under a four-term Blackman-Harris window (sidelobes under -92 dB), so that a harmonic's power lies within a few
bins; the noise under a line is subtracted, estimated from the level beside it.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

LINE_BINS = 5
"""Half-width of a line under the window, in bins."""
SIGNIFICANT = 6.0
"""Standard deviations of the noise in a line's bins by which a harmonic must exceed it to count."""
FALSE_HARMONICS = 3
"""Expected number of harmonics over that by chance."""
NEIGHBOURS = 32
"""Bins on each side used to estimate the noise under a line."""
LONGEST_SEGMENT = 1 << 17
LOW_HZ, HIGH_HZ = 20.0, 20_000.0
"""The band of AES17-2015, 5.2.5, and of its THD+N."""


@dataclass(frozen=True, slots=True)
class Lines:
    """Mean-square powers re full scale squared.

    Attributes
    ----------
    fundamental : power of the fundamental.
    harmonics : order -> power, up to the band's end, without noise.
    residual : everything in the band but the fundamental.
    noise : the residual without the harmonics, interpolated under the lines.
    false_harmonics : power that noise alone may add to the harmonics.
    """

    fundamental: float
    harmonics: dict[int, float]
    residual: float
    noise: float
    false_harmonics: float = 0.0

    @property
    def thd_of_noise(self) -> float:
        """The apparent THD of noise alone, ratio; infinite without a fundamental."""
        return math.sqrt(self.false_harmonics / self.fundamental) if self.fundamental > 0 else math.inf

    @property
    def thd(self) -> float:
        """Harmonics over fundamental, ratio; infinite without a fundamental."""
        return math.sqrt(sum(self.harmonics.values()) / self.fundamental) if self.fundamental > 0 else math.inf

    @property
    def thd_n(self) -> float:
        """Residual over everything, ratio (AES17-2015, 6.3.1)."""
        return float(np.sqrt(self.residual / (self.residual + self.fundamental)))


@functools.lru_cache(maxsize=4)
def blackman_harris(count: int) -> Floats:
    """Return the periodic four-term window (Harris, Proc. IEEE 66, 1978); it is kept, and can't be written to."""
    angle = 2 * np.pi * np.arange(count) / count
    window = np.asarray(0.35875 - 0.48829 * np.cos(angle) + 0.14128 * np.cos(2 * angle) - 0.01168 * np.cos(3 * angle))
    window.flags.writeable = False
    return window


def power_spectrum(samples: Floats) -> tuple[Floats, int, int]:
    """Return mean power per bin (their sum is the mean square), the segment length, and how many were averaged."""
    count = 1 << int(np.floor(np.log2(min(len(samples), LONGEST_SEGMENT))))
    window = blackman_harris(count)
    hop = count // 2 if len(samples) < 4 * count else count
    starts = range(0, len(samples) - count + 1, hop)
    power = np.zeros(count // 2 + 1)
    for start in starts:
        part = samples[start : start + count]
        power += np.abs(np.fft.rfft((part - part.mean()) * window)) ** 2
    power /= len(starts) * count * np.sum(window**2)
    power[1:-1] *= 2
    return power, count, len(starts)


def lines(samples: Floats, *, rate_hz: float, frequency_hz: float) -> Lines:
    """Split a steady tone's power into fundamental, harmonics and noise within 20 Hz to 20 kHz or the half rate."""
    power, count, segments = power_spectrum(samples)
    # Median over mean of chi-square with 2S degrees of freedom (Wilson & Hilferty, PNAS 17, 1931).
    median_over_mean = (1 - 1 / (9 * segments)) ** 3
    top_hz = min(HIGH_HZ, 0.5 * rate_hz)
    band = slice(int(np.ceil(LOW_HZ * count / rate_hz)), int(np.floor(top_hz * count / rate_hz)) + 1)
    half = min(LINE_BINS, max(2, int(0.4 * frequency_hz * count / rate_hz)))
    orders = range(1, int(top_hz / frequency_hz) + 1)
    off_lines = np.ones(len(power), dtype=bool)
    spans = {}
    for order in orders:
        middle = round(order * frequency_hz * count / rate_hz)
        spans[order] = slice(max(0, middle - half), min(len(power), middle + half + 1))
        off_lines[spans[order]] = False
    inside = np.zeros(len(power), dtype=bool)
    inside[band] = True
    free_bins = np.flatnonzero(off_lines)
    found: dict[int, float] = {}
    scatters = []
    floor_total = float(np.sum(power[inside & off_lines]))
    free = int(np.sum(inside & off_lines))
    middles = [(span.start + span.stop) // 2 for span in spans.values()]
    floors = _medians_around(power[free_bins], np.searchsorted(free_bins, middles)) / median_over_mean
    for (order, span), floor in zip(spans.items(), floors.tolist(), strict=True):
        width = span.stop - span.start
        above = float(np.sum(power[span])) - width * floor
        # Noise alone scatters this much (the window ties neighbouring bins together); less is not a line.
        scatter = floor * np.sqrt(2 * width / segments)
        scatters.append(SIGNIFICANT * scatter)
        found[order] = above if above > SIGNIFICANT * scatter else 0.0
    fundamental = found.pop(1, float(np.sum(power[spans[1]])) if 1 in spans else 0.0)
    within = int(np.sum(inside))
    noise = floor_total * within / free if free else 0.0
    harmonics = {order: value for order, value in found.items() if order * frequency_hz <= top_hz}
    false = FALSE_HARMONICS * max(scatters, default=0.0)
    return Lines(fundamental, harmonics, noise + sum(harmonics.values()), noise, false)


def _medians_around(values: Floats, places: npt.NDArray[np.intp]) -> Floats:
    """Return the median of the neighbours of each place, 0 where there are none."""
    found = np.zeros(len(places))
    whole = (places >= NEIGHBOURS) & (places + NEIGHBOURS <= len(values))
    if np.any(whole):  # all at once: a low tone has hundreds of harmonics
        around = values[places[whole, None] + np.arange(-NEIGHBOURS, NEIGHBOURS)]
        found[whole] = np.median(around, axis=1)
    for i in np.flatnonzero(~whole):
        around = values[max(0, places[i] - NEIGHBOURS) : places[i] + NEIGHBOURS]
        found[i] = np.median(around) if len(around) else 0.0
    return found
