"""Detect whether a tone is clipped, and how deeply.

The samples are ordered by phase and three descriptions are compared by their residuals: an unclipped sine, a sine with a
smooth second and third harmonic, and a sine clipped at two ceilings. The clipped sine is fitted alternately: given which samples lie
on the ceilings, sine and ceilings are linear least squares; given those, the samples that lie on them are known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.metering.phasors import tone_phasors

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Complexes = npt.NDArray[np.complex128]

SAMPLES_USED = 8192
STARTS_DB = (0.1, 0.7, 2.5, 8.0)
SHALLOWEST_DB = 0.02
"""Shallower clipping can't be distinguished from an unclipped sine in practice (about 0.04 % THD)."""
COUPLING_CORNERS_HZ = tuple(0.3 * 1.35**i for i in range(15))
"""First-order high-passes of recorders' inputs, 0.3 to 20 Hz (common practice, no published source)."""
COARSE_STARTS_DB, COARSE_TURNS, COARSE_SAMPLES = (0.7, 4.0), 15, 1024
"""Resolution of the fit for each corner; the best one is fitted again with all samples."""
PHASES = 256
LEAST_SHARE_OF_LEFT, LEAST_SHARE_OF_ALL = 0.25, 0.01
"""Least periodic share of what is neither the sine nor harmonics 2 and 3 (a clipped sine must explain 0.4 of that), and of everything but the sine; for a sine clipped by 0.02 to 30 dB on one or both sides the latter is at least 0.026."""
LIKELIER = 40.0
"""By how many noise variances a clipped sine must describe the samples better than each of the other models."""


@dataclass(frozen=True, slots=True)
class Flattening:
    """A clipped sine: the peak of the unclipped sine, its offset, the ceilings, and the clip depth at the lower ceiling, dB."""

    peak: float
    offset: float
    high: float
    low: float
    depth_db: float


def find_clipping(samples: Floats, *, rate_hz: float, frequency_hz: float) -> Flattening | None:
    """Return the flattening of a steady tone, None when it is unclipped or has only smooth distortion.

    Parameters
    ----------
    samples : at least a few periods, shape (n,); the middle is used.
    frequency_hz : as fitted, accurate to a small part of a period over the samples used.
    """
    count = min(len(samples), SAMPLES_USED)
    begin = (len(samples) - count) // 2
    part = samples[begin : begin + count]
    turning = tone_phasors(2 * np.pi * frequency_hz / rate_hz, count)
    whole, smooth, worth = _compare_residuals(part, turning, frequency_hz / rate_hz)
    if not worth:
        return None
    best, residual = _best_cut(part, turning.real, turning.imag)
    if best is None or best.depth_db < SHALLOWEST_DB:
        return None
    variance = max(residual / count, 1e-20 * best.peak**2, 1e-24)
    if (whole - residual) / variance < LIKELIER or (smooth - residual) / variance < LIKELIER:
        return None
    # A fit that leaves far more than the noise is another kind of distortion: it must be good at the ceilings.
    return best if residual < 0.6 * smooth else None


def find_clipping_behind_coupling(samples: Floats, *, rate_hz: float, frequency_hz: float) -> Flattening | None:
    """Return the flattening of a tone whose tops are tilted by a coupling capacitor, None when there is none.

    The capacitor is a first-order high-pass, y' = x' - wc y; it is undone by x = y + wc * integral of y for several
    corners, and the one with the least residual is accepted if the clipped sine then meets the usual criteria.
    """
    count = min(len(samples), SAMPLES_USED)
    begin = (len(samples) - count) // 2
    part = samples[begin : begin + count] - np.mean(samples)
    integral = np.cumsum(part) / rate_hz
    turning = tone_phasors(2 * np.pi * frequency_hz / rate_hz, count)
    if not _compare_residuals(part, turning, frequency_hz / rate_hz)[2]:
        return None
    step = max(1, min(count // COARSE_SAMPLES, int(rate_hz / frequency_hz / 64)))
    few_cos, few_sin = turning.real[::step], turning.imag[::step]
    least, best = np.inf, None
    for corner_hz in COUPLING_CORNERS_HZ:
        undone = part + 2 * np.pi * corner_hz * integral
        _, residual = _best_cut(undone[::step], few_cos, few_sin, starts_db=COARSE_STARTS_DB, turns=COARSE_TURNS)
        if residual < least:
            least, best = residual, undone
    return None if best is None else find_clipping(best, rate_hz=rate_hz, frequency_hz=frequency_hz)


def _compare_residuals(samples: Floats, turning: Complexes, frequency: float) -> tuple[float, float, bool]:
    """Return the residual of a sine, the residual with harmonics 2 and 3, and whether clipping is possible at all.

    The tone is given by its phasor at each sample, and its frequency in periods per sample.
    """
    square = turning * turning
    cube = square * turning
    parts = [part for phasor in (turning, square, cube) for part in (phasor.real, phasor.imag)]
    basis = np.stack([*parts[:2], np.ones(len(samples)), *parts[2:]])
    whole = _residual(basis[:3], samples)
    left = _residual(basis, samples)
    whole_sum, left_sum = float(whole @ whole), float(left @ left)
    phases = max(2, min(PHASES, len(samples) // 16))
    place = np.minimum((frequency * np.arange(len(samples)) % 1.0 * phases).astype(np.intp), phases - 1)
    count = np.bincount(place, minlength=phases)
    filled = count > 0
    again = float(np.sum(np.bincount(place, left, phases)[filled] ** 2 / count[filled]))
    # noise repeats by chance: as many degrees of freedom as there are phases
    free = int(np.count_nonzero(filled))
    again -= (left_sum - again) * free / max(1, len(samples) - free)
    return whole_sum, left_sum, again >= max(LEAST_SHARE_OF_LEFT * left_sum, LEAST_SHARE_OF_ALL * whole_sum)


def _residual(basis: Floats, samples: Floats) -> Floats:
    coefficients = np.linalg.solve(basis @ basis.T, basis @ samples)
    return np.asarray(samples - coefficients @ basis)


def _best_cut(
    samples: Floats, cos: Floats, sin: Floats, *, starts_db: tuple[float, ...] = STARTS_DB, turns: int = 60
) -> tuple[Flattening | None, float]:
    ones = np.ones_like(cos)
    basis = np.stack([cos, sin, ones])
    a, b, offset = np.linalg.solve(basis @ basis.T, basis @ samples)
    first = float(np.hypot(a, b))
    best: Flattening | None = None
    least = np.inf
    for depth_db in starts_db:
        # The fundamental of a clipped sine is between its ceiling and 4/pi of it.
        ceiling = first / (1 + 0.27 * (1 - 10 ** (-depth_db / 10)))
        start = (a * _ceiling_for_depth(depth_db), b * _ceiling_for_depth(depth_db), offset)
        found = _fit_alternately(samples, basis, start, ceiling, turns=turns)
        if found is not None and found[1] < least:
            best, least = found
    return best, least


def _ceiling_for_depth(depth_db: float) -> float:
    drive = 10 ** (depth_db / 20)
    angle = np.arcsin(1 / drive)
    return float(drive / (2 * drive / np.pi * (angle + np.sqrt(1 - 1 / drive**2) / drive)))


def _fit_alternately(
    samples: Floats, basis: Floats, start: tuple[float, float, float], ceiling: float, *, turns: int
) -> tuple[Flattening, float] | None:
    sine = np.asarray(start) @ basis
    high, low = start[2] + ceiling, start[2] - ceiling
    coefficients = np.asarray(start)
    before = np.inf
    for _ in range(turns):
        over, under = sine > high, sine < low
        free = ~(over | under)
        if np.count_nonzero(free) < 8:
            return None
        inside = basis * free
        matrix = inside @ basis.T
        smallest, *_, largest = np.linalg.eigvalsh(matrix)
        if smallest <= 1e-10 * largest:
            return None
        coefficients = np.linalg.solve(matrix, inside @ samples)
        sine = coefficients @ basis
        high = float(np.mean(samples[over])) if np.any(over) else float(np.inf)
        low = float(np.mean(samples[under])) if np.any(under) else float(-np.inf)
        residual = float(np.sum((samples - np.clip(sine, low, high)) ** 2))
        if abs(before - residual) <= 1e-9 * residual:
            break
        before = residual
    peak, offset = float(np.hypot(coefficients[0], coefficients[1])), float(coefficients[2])
    rooms = [high - offset, offset - low]
    if min(rooms) <= 0:
        return None
    depth_db = 20 * np.log10(peak / min(rooms)) if np.isfinite(min(rooms)) else 0.0
    return Flattening(peak, offset, high, low, float(max(depth_db, 0.0))), residual
