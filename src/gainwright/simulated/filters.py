"""The rig's own digital filters, designed by scipy at a sampling rate so high that frequency warping is negligible.

A period is filtered in its exact steady state: each second-order section is run once from rest, the state that repeats
after one period is solved from the result, and the section is run again from that state.
"""

from __future__ import annotations

import functools
import math
from typing import TYPE_CHECKING

import numpy as np
from scipy import signal

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.model import Equaliser, FilterSetting

    Floats = npt.NDArray[np.float64]


def crossover_sections(setting: FilterSetting, *, kind: str, corner_hz: float, rate_hz: float) -> Floats:
    """Return the second-order sections of a crossover filter (scipy designs, pre-warped at the corner)."""
    order = setting.slope_db_per_octave // 6
    return _designed(setting.shape, order, kind, min(corner_hz, 0.45 * rate_hz), rate_hz)


@functools.lru_cache(maxsize=256)
def _designed(shape: str, order: int, kind: str, corner_hz: float, rate_hz: float) -> Floats:
    """Return the sections of one filter; they are kept, since a run asks for the same ones at each turn of a control."""
    if shape == "bessel":
        found = signal.bessel(order, corner_hz, btype=kind, fs=rate_hz, output="sos", norm="mag")
    elif shape == "butterworth":
        found = signal.butter(order, corner_hz, btype=kind, fs=rate_hz, output="sos")
    else:
        half = signal.butter(order // 2, corner_hz, btype=kind, fs=rate_hz, output="sos")
        found = np.vstack([half, half])
    sections = np.asarray(found)
    sections.flags.writeable = False
    return sections


def band_section(kind: str, *, gain_db: float, corner_hz: float, q: float, rate_hz: float) -> Floats:
    """Return one equaliser band as a second-order section (W3C Audio EQ Cookbook, 2021)."""
    a = 10 ** (gain_db / 40)
    w = 2 * math.pi * corner_hz / rate_hz
    cos, alpha = math.cos(w), math.sin(w) / (2 * q)
    if kind == "peak":
        b = [1 + alpha * a, -2 * cos, 1 - alpha * a]
        d = [1 + alpha / a, -2 * cos, 1 - alpha / a]
    else:
        sign = 1 if kind == "low-shelf" else -1
        root = 2 * math.sqrt(a) * alpha
        b = [
            a * ((a + 1) - sign * (a - 1) * cos + root),
            sign * 2 * a * ((a - 1) - sign * (a + 1) * cos),
            a * ((a + 1) - sign * (a - 1) * cos - root),
        ]
        d = [
            (a + 1) + sign * (a - 1) * cos + root,
            -sign * 2 * ((a - 1) + sign * (a + 1) * cos),
            (a + 1) + sign * (a - 1) * cos - root,
        ]
    return np.array([[*b, *d]]) / d[0]


def equaliser_sections(equaliser: Equaliser, truth: list[tuple[float, float, float]], *, rate_hz: float) -> Floats:
    """Return the sections of all bands; `truth` holds gain in dB, corner in Hz and q of each."""
    bands = [
        band_section(band.kind, gain_db=gain, corner_hz=corner, q=q, rate_hz=rate_hz)
        for band, (gain, corner, q) in zip(equaliser.bands, truth, strict=True)
    ]
    return np.vstack(bands)


def filter_period(sections: Floats, period: Floats) -> Floats:
    """Return one period of the output of second-order sections in periodic steady state.

    What a section gives from rest, and what it goes on giving from the state at the end of a period.
    """
    wave = period
    for section in sections:
        from_rest, last = signal.sosfilt(section[None, :], wave, zi=np.zeros((1, 2)))
        wave = from_rest + last[0] @ _goes_on(len(wave), float(section[4]), float(section[5]))
    return np.asarray(wave)


@functools.lru_cache(maxsize=128)
def _goes_on(count: int, a1: float, a2: float) -> Floats:
    """Return a section's output for a period without a signal, (2, count), for either part of a state after periods from rest."""
    step = np.array([[-a1, 1.0], [-a2, 0.0]])
    begin = np.linalg.inv(np.eye(2) - np.linalg.matrix_power(step, count))
    nothing = np.zeros(count)
    alone = np.array([1.0, 0.0, 0.0, 1.0, a1, a2])[None, :]
    return np.stack([signal.sosfilt(alone, nothing, zi=state[None, :])[0] for state in begin.T])


def filter_on(sections: Floats, samples: Floats) -> Floats:
    """Return the output of second-order sections for a signal, from rest."""
    return np.asarray(signal.sosfilt(sections, samples))
