"""A recording's waveform and spectrum as charts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.metering import Pictures


LEAST_DBFS = -120.0
"""Harmonics below this aren't named."""


@dataclass(frozen=True, slots=True)
class WaveformChart:
    """One period: share of the period and volts (or share of full scale); the ceilings where it is cut."""

    title: str
    subtitle: str
    unit: str
    points: tuple[tuple[float, float], ...]
    upper: float | None
    lower: float | None
    description: str


@dataclass(frozen=True, slots=True)
class SpectrumChart:
    """Peaks of the spectrum in Hz and dBFS, and its harmonics by order."""

    title: str
    subtitle: str
    points: tuple[tuple[float, float], ...]
    harmonics: tuple[tuple[int, float, float], ...]
    description: str


def waveform_chart(found: Pictures, *, title: str, full_scale_v: float | None = None) -> WaveformChart:
    """Return one period of a recording's tone.

    Parameters
    ----------
    full_scale_v : volts rms of a full-scale sine, when it was calibrated.
    """
    factor = 1.0 if full_scale_v is None else full_scale_v * 2**0.5
    unit = "of full scale" if full_scale_v is None else "V"
    points = tuple((float(x), float(y) * factor) for x, y in zip(found.phase, found.wave, strict=True))
    cut = found.upper is not None
    said = say("no tone")
    if found.frequency_hz is not None:
        hz = f"{found.frequency_hz:.6g}"
        said = (
            say("one period of {hz} Hz, cut at its ceiling", hz=hz)
            if cut
            else say("one period of {hz} Hz, not cut", hz=hz)
        )
    ends = [None if edge is None else edge * factor for edge in (found.upper, found.lower)]
    return WaveformChart(title, said, unit, points, ends[0], ends[1], say("{place}: {words}", place=title, words=said))


def spectrum_chart(found: Pictures, *, title: str) -> SpectrumChart:
    """Return the spectrum of a recording."""
    points = tuple((float(hz), float(level)) for hz, level in zip(found.spectrum_hz, found.spectrum_dbfs, strict=True))
    shown = tuple(h for h in found.harmonics if h[2] > LEAST_DBFS)[:10]
    listed = [
        say("harmonic {order} at {level} dBFS", order=order, level=f"{level:.0f}") for order, _, level in shown[:4]
    ]
    said = joined(listed) or say("no harmonic stands out")
    return SpectrumChart(title, said, points, shown, say("{place}: {words}", place=title, words=said))
