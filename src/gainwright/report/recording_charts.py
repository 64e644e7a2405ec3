"""A recording's waveform and spectrum as charts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.metering import Pictures


LEAST_DBFS = -120.0
"""Harmonics below this level aren't labelled."""


@dataclass(frozen=True, slots=True)
class WaveformChart:
    """One period: phase as a share of the period, and volts (or share of full scale); the ceilings if it is clipped."""

    title: str
    subtitle: str
    unit: str
    points: tuple[tuple[float, float], ...]
    upper: float | None
    lower: float | None
    description: str


@dataclass(frozen=True, slots=True)
class SpectrumChart:
    """Peaks of the spectrum, Hz and dBFS, and its harmonics (order, Hz, dBFS)."""

    title: str
    subtitle: str
    points: tuple[tuple[float, float], ...]
    harmonics: tuple[tuple[int, float, float], ...]
    description: str


def waveform_chart(pictures: Pictures, *, title: str, full_scale_v: float | None = None) -> WaveformChart:
    """Return one period of a recording's tone.

    Parameters
    ----------
    full_scale_v : volts rms of a full-scale sine, if calibrated.
    """
    factor = 1.0 if full_scale_v is None else full_scale_v * 2**0.5
    unit = "of full scale" if full_scale_v is None else "V"
    points = tuple((float(x), float(y) * factor) for x, y in zip(pictures.phase, pictures.wave, strict=True))
    cut = pictures.upper is not None
    text = say("no tone")
    if pictures.frequency_hz is not None:
        hz = f"{pictures.frequency_hz:.6g}"
        text = (
            say("one period of {hz} Hz, clipped at the ceiling", hz=hz)
            if cut
            else say("one period of {hz} Hz, not clipped", hz=hz)
        )
    ends = [None if edge is None else edge * factor for edge in (pictures.upper, pictures.lower)]
    return WaveformChart(title, text, unit, points, ends[0], ends[1], say("{place}: {words}", place=title, words=text))


def spectrum_chart(pictures: Pictures, *, title: str) -> SpectrumChart:
    """Return the spectrum of a recording."""
    points = tuple(
        (float(hz), float(level)) for hz, level in zip(pictures.spectrum_hz, pictures.spectrum_dbfs, strict=True)
    )
    shown = tuple(h for h in pictures.harmonics if h[2] > LEAST_DBFS)[:10]
    listed = [
        say("harmonic {order} at {level} dBFS", order=order, level=f"{level:.0f}") for order, _, level in shown[:4]
    ]
    text = joined(listed) or say("no harmonic stands out")
    return SpectrumChart(title, text, points, shown, say("{place}: {words}", place=title, words=text))
