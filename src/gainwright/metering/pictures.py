"""Waveform and spectrum of a recording: one period of its tone, and its spectrum, as points to draw."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.metering.spectrum import power_spectrum
from gainwright.metering.steady_stretch import steady_part
from gainwright.metering.tone_measurement import measure

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.metering.measurement import Channel
    from gainwright.metering.recording import Recording

    Floats = npt.NDArray[np.float64]

POINTS = 240
LINES = 600
LOWEST_DBFS = -140.0
WINDOW_BINS = 2.0044
"""Equivalent noise bandwidth of the four-term Blackman-Harris window (Harris, Proc. IEEE 66, 1978, table 1: 2.00)."""


@dataclass(frozen=True, slots=True)
class Pictures:
    """One channel's waveform and spectrum.

    Attributes
    ----------
    frequency_hz : of the tone, None when there is none.
    phase : shares of a period, shape (POINTS,); wave : samples re full scale (peak 1) at them.
    upper, lower : where the wave is clipped, None where it isn't.
    spectrum_hz, spectrum_dbfs : peaks of the spectrum in bands of a logarithmic axis (0 dBFS is a full-scale sine).
    harmonics : order, Hz and dBFS of each that stands out.
    """

    frequency_hz: float | None
    phase: Floats
    wave: Floats
    upper: float | None
    lower: float | None
    spectrum_hz: Floats
    spectrum_dbfs: Floats
    harmonics: tuple[tuple[int, float, float], ...]


def pictures(recording: Recording, *, channel: int = 1, found: Channel | None = None) -> Pictures:
    """Return waveform and spectrum of one channel, from 1. `found` is its result of `measure`, if available.

    The period is the median of all samples folded into one period (noise averages out, clipping stays); the spectrum is the
    averaged one that distortion is measured with.

    Raises
    ------
    RecordingError : the recording can't be measured.
    """
    found = found or measure(recording).channels[channel - 1]
    part = steady_part(recording.samples[:, channel - 1], rate_hz=recording.rate_hz)
    hz, dbfs = _spectrum(part, recording.rate_hz)
    if found.frequency_hz is None:
        empty = np.empty(0)
        return Pictures(None, empty, empty, None, None, hz, dbfs, ())
    phase = np.arange(len(part)) * found.frequency_hz / recording.rate_hz % 1.0
    # start where the fundamental rises through zero
    first = np.angle(np.sum(part * np.exp(-2j * np.pi * phase)))
    place = (phase + (first + np.pi / 2) / (2 * np.pi)) % 1.0
    order = np.argsort(place)
    wave = _medians(part[order])
    fundamental = found.fundamental_dbfs if found.fundamental_dbfs is not None else 0.0
    harmonics = tuple(
        (h.order, h.order * found.frequency_hz, fundamental + 20 * float(np.log10(h.percent / 100)))
        for h in found.harmonics
        if h.percent > 0
    )
    cut = found.clipped
    return Pictures(
        found.frequency_hz,
        (np.arange(POINTS) + 0.5) / POINTS,
        wave,
        float(np.nanmax(wave)) if cut else None,
        float(np.nanmin(wave)) if cut else None,
        hz,
        dbfs,
        harmonics,
    )


def _medians(samples: Floats) -> Floats:
    """Return the medians of POINTS stretches as even in length as can be; NaN where one is empty."""
    each, longer = divmod(len(samples), POINTS)
    first = samples[: longer * (each + 1)].reshape(longer, each + 1)
    rest = samples[longer * (each + 1) :].reshape(POINTS - longer, each)
    last = np.median(rest, axis=1) if each else np.full(POINTS - longer, np.nan)
    return np.concatenate([np.median(first, axis=1), last]) if longer else last


def _spectrum(part: Floats, rate_hz: int) -> tuple[Floats, Floats]:
    """Return the largest line in each band of a logarithmic axis from 20 Hz to half the rate, dBFS."""
    power, length, _ = power_spectrum(part)
    hz = np.arange(len(power)) * rate_hz / length
    edges = np.geomspace(20, rate_hz / 2, LINES + 1)
    band = np.digitize(hz, edges) - 1
    inside = (band >= 0) & (band < LINES)
    peak = np.full(LINES, 0.0)
    np.maximum.at(peak, band[inside], power[inside])
    kept = peak > 0
    middles = np.sqrt(edges[:-1] * edges[1:])
    # a bin of a sine holds its mean square over the window's equivalent noise bandwidth; 0 dBFS is a full-scale sine
    level = 10 * np.log10(2 * WINDOW_BINS * peak[kept])
    return middles[kept], np.maximum(level, LOWEST_DBFS)
