"""The response of a path from a recorded sweep, or from two channels, one before and one after it.

A known sweep is deconvolved in the frequency domain, and the linear response windowed out of the result in
time (harmonics of a distorting path come before it, Farina 2000). Two channels give H1 = Sxy/Sxx and the coherence by
scipy's Welch spectra. The grid has 24 points per octave.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.errors import RecordingError

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Complexes = npt.NDArray[np.complex128]

PER_OCTAVE = 24
BEFORE_SECONDS, AFTER_SECONDS = 0.12, 0.5
"""Part of an impulse response about its peak that is kept."""
EDGE_LOW, EDGE_HIGH = 1.4, 1.15
"""The ends of a sweep are dropped by these ratios."""
LEAST_COHERENCE = 0.3
EXPLAINED = 0.5
"""Share of the recording's energy in the sweep's band that the response must explain."""


@dataclass(frozen=True, slots=True)
class Response:
    """H on a logarithmic grid.

    Attributes
    ----------
    frequency_hz : shape (n,).
    h : complex response, without the delay of the peak, shape (n,).
    sure : standard deviation of the level due to noise, dB, shape (n,).
    coherence : 1 where unknown.
    delay_s : of the peak, after the reference, or after the start of the sweep in the recording.
    """

    frequency_hz: Floats
    h: Complexes
    sure_db: Floats
    coherence: Floats
    delay_s: float

    @property
    def level_db(self) -> Floats:
        """Level at each frequency."""
        return np.asarray(20 * np.log10(np.maximum(np.abs(self.h), 1e-12)))


def sweep_response(samples: Floats, reference: Floats, *, rate_hz: int, low_hz: float, high_hz: float) -> Response:
    """Return the response of one channel to a known signal.

    Parameters
    ----------
    samples, reference : recording and what was played, shape (n,) and (m,); they need not start together.

    Raises
    ------
    RecordingError : the sweep isn't in the recording.
    """
    size = _transform_size(len(samples) + len(reference))
    played, heard = np.fft.rfft(reference, size), np.fft.rfft(samples, size)
    hz = np.fft.rfftfreq(size, 1 / rate_hz)
    inside = (hz >= low_hz) & (hz <= high_hz)
    power = np.abs(played) ** 2
    small = 1e-6 * float(np.max(power[inside], initial=0.0))
    if small <= 0:
        raise RecordingError("nothing was played in that band", code="no_sweep", remedy="play the sweep, or noise")
    h = np.where(inside, heard * np.conj(played) / (power + small), 0)
    impulse = np.fft.irfft(h, size)
    peak = int(np.argmax(np.abs(impulse)))
    before, after = int(BEFORE_SECONDS * rate_hz), int(AFTER_SECONDS * rate_hz)
    place = np.arange(-before, after)
    window = np.ones(len(place))
    edge = before // 2
    window[:edge] = 0.5 - 0.5 * np.cos(np.pi * np.arange(edge) / edge)
    tail = after // 4
    window[-tail:] = 0.5 + 0.5 * np.cos(np.pi * np.arange(tail) / tail)
    cut = impulse[(peak + place) % size] * window
    if _explained(cut, (peak - before) % size, played, heard, inside, size) < EXPLAINED:
        raise RecordingError(
            "the sweep is not in it",
            code="no_sweep",
            remedy="give the sweep as it was played (its two frequencies and its duration), or record it louder",
        )
    grid = log_grid(max(low_hz * EDGE_LOW, 4 / AFTER_SECONDS), high_hz / EDGE_HIGH)
    delay = peak - size if peak > size // 2 else peak
    # noise: what the impulse response holds far from its peak, as much as the window passes
    far = impulse[(peak + after + np.arange(len(place))) % size]
    noise = float(np.sum(window**2)) * float(np.mean(far**2))
    at_peak = _transform(cut, grid / rate_hz, -before)
    sure = 20 / np.log(10) * np.sqrt(noise / 2) / np.maximum(np.abs(at_peak), 1e-12)
    return Response(grid, at_peak, np.asarray(sure), np.ones(len(grid)), delay / rate_hz)


def _transform_size(least: int) -> int:
    """Return the smallest product of powers of 2, 3 and 5 from a length on, even: as quick to transform as a power of 2."""
    whole = 1 << math.ceil(math.log2(least))
    odd = [int(3**i * 5**j) for i in range(40) for j in range(30)]
    return min(whole, *(k << max(1, math.ceil(math.log2(least / k))) for k in odd if k < least))


def _transform(samples: Floats, frequency: Floats, begin: int) -> Complexes:
    """Return the sum of samples[n] exp(-2 pi i f (n + begin)) for each frequency in cycles per sample.

    The samples are arranged in rows: each row's own sum and the turn from row to row need a root of the exponentials.
    """
    width = int(np.ceil(np.sqrt(len(samples))))
    rows = np.zeros((-(-len(samples) // width), width))
    rows.flat[: len(samples)] = samples
    within = np.exp(-2j * np.pi * np.outer(frequency, np.arange(width)))
    between = np.exp(-2j * np.pi * np.outer(frequency, begin + width * np.arange(len(rows))))
    return np.asarray(np.sum((within @ rows.T) * between, axis=1))


def _explained(
    cut: Floats, begin: int, played: Complexes, heard: Complexes, inside: npt.NDArray[np.bool_], size: int
) -> float:
    """Return the share of the recording that the sweep through this response explains."""
    whole = np.zeros(size)
    whole[(begin + np.arange(len(cut))) % size] = cut
    left = np.sum(np.abs(heard - np.fft.rfft(whole) * played)[inside] ** 2)
    all_of_it = float(np.sum(np.abs(heard[inside]) ** 2))
    return 1 - float(left) / all_of_it if all_of_it > 0 else 0.0


def two_channel_response(
    samples: Floats, reference: Floats, *, rate_hz: int, low_hz: float, high_hz: float
) -> Response:
    """Return the response from one recorded channel to another, with its coherence.

    Bias by a delay longer than a segment is avoided by aligning first (cross-correlation). Variance of H1:
    (1 - c)/(2 c n) of its square, n segments (Bendat & Piersol, Random Data, 9.2.4; from memory).

    Raises
    ------
    RecordingError : too short, or no signal in common.
    """
    from scipy import signal

    segment = 1 << int(np.log2(0.5 * rate_hz))
    if len(samples) < 4 * segment:
        raise RecordingError("is too short for a response", code="too_short", remedy="record 3 s or more")
    lag = _lag(samples, reference)
    first, second = (reference[: len(samples) - lag], samples[lag:]) if lag >= 0 else (reference[-lag:], samples[:lag])
    count = min(len(first), len(second))
    if count < 4 * segment:
        raise RecordingError("its channels have no signal in common", code="no_sweep", remedy="check what was recorded")
    options = {"fs": rate_hz, "nperseg": segment, "window": "hann"}
    hz, cross = signal.csd(first[:count], second[:count], **options)
    own = signal.welch(first[:count], **options)[1]
    other = signal.welch(second[:count], **options)[1]
    coherence = np.abs(cross) ** 2 / np.maximum(own * other, 1e-300)
    averages = 2 * count / segment
    grid = log_grid(low_hz, high_hz)
    h = _smoothed(hz, cross, grid) / np.maximum(_smoothed(hz, own + 0j, grid).real, 1e-300)
    c = np.clip(_smoothed(hz, coherence + 0j, grid).real, 1e-6, 1.0)
    if np.quantile(c, 0.95) < LEAST_COHERENCE:
        raise RecordingError("its channels have no signal in common", code="no_sweep", remedy="check what was recorded")
    sure = 20 / np.log(10) * np.sqrt((1 - c) / (2 * c * averages))
    return Response(grid, h, np.asarray(sure), c, lag / rate_hz)


def log_grid(low_hz: float, high_hz: float) -> Floats:
    """Return frequencies within bounds, 24 per octave."""
    return np.asarray(low_hz * 2 ** (np.arange(int(PER_OCTAVE * np.log2(high_hz / low_hz)) + 1) / PER_OCTAVE))


def _lag(samples: Floats, reference: Floats) -> int:
    size = 1 << int(np.ceil(np.log2(len(samples) + len(reference))))
    cross = np.fft.rfft(samples, size) * np.conj(np.fft.rfft(reference, size))
    peak = int(np.argmax(np.abs(np.fft.irfft(cross, size))))
    return peak - size if peak > size // 2 else peak


def _smoothed(hz: Floats, values: Complexes, grid: Floats) -> Complexes:
    """Return means within a twenty-fourth of an octave, or of the two nearest bins."""
    half = 2 ** (0.5 / PER_OCTAVE)
    sums = np.concatenate([[0], np.cumsum(values)])
    low, high = np.searchsorted(hz, grid / half), np.searchsorted(hz, grid * half)
    wide = high - low > 1
    between = np.interp(grid, hz, values.real) + 1j * np.interp(grid, hz, values.imag)
    means = (sums[high] - sums[low]) / np.maximum(high - low, 1)
    return np.asarray(np.where(wide, means, between))
