"""Is the top of this tone cut, and by how much?

The samples are laid over their phase and three descriptions are compared by their residuals: a whole sine, a sine with a
smooth second and third harmonic, and a sine cut at two ceilings. The cut sine is fitted by turns: given which samples lie
on the ceilings, sine and ceilings are linear least squares; given those, the samples that lie on them are known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

SAMPLES_USED = 8192
STARTS_DB = (0.1, 0.7, 2.5, 8.0)
SHALLOWEST_DB = 0.02
"""A cut under this can't be told from a whole sine in practice (about 0.04 % THD)."""
COUPLING_CORNERS_HZ = tuple(0.3 * 1.35**i for i in range(15))
"""First-order high-passes of recorders' inputs, 0.3 to 20 Hz (common practice, no published source)."""
LIKELIER = 40.0
"""How many noise variances better a cut sine must describe the samples than each of the others."""


@dataclass(frozen=True, slots=True)
class Cut:
    """A cut sine: the peak of the uncut sine, its offset, the ceilings; and how deep the lower ceiling cuts, dB."""

    peak: float
    offset: float
    high: float
    low: float
    depth_db: float


def find_cut(samples: Floats, *, rate_hz: float, frequency_hz: float) -> Cut | None:
    """Return the cut of a steady tone, None when it is whole or merely bent.

    Parameters
    ----------
    samples : at least a few periods, shape (n,); the middle is used.
    frequency_hz : as fitted, good to a small part of a period over the samples used.
    """
    count = min(len(samples), SAMPLES_USED)
    begin = (len(samples) - count) // 2
    part = samples[begin : begin + count]
    angle = 2 * np.pi * frequency_hz / rate_hz * np.arange(count)
    cos, sin = np.cos(angle), np.sin(angle)
    whole = _residual(np.stack([cos, sin, np.ones(count)]), part)
    smooth_basis = [cos, sin, np.ones(count), *(f(k * angle) for k in (2, 3) for f in (np.cos, np.sin))]
    smooth = _residual(np.stack(smooth_basis), part)
    best, residual = _best_cut(part, cos, sin)
    if best is None or best.depth_db < SHALLOWEST_DB:
        return None
    variance = max(residual / count, 1e-20 * best.peak**2, 1e-24)
    if (whole - residual) / variance < LIKELIER or (smooth - residual) / variance < LIKELIER:
        return None
    # A cut that leaves far more than the noise is some other bend: the fit must be good where it matters.
    return best if residual < 0.6 * smooth else None


def find_cut_behind_coupling(samples: Floats, *, rate_hz: float, frequency_hz: float) -> Cut | None:
    """Return the cut of a tone whose tops a coupling capacitor has tilted, None when there is none.

    The capacitor is a first-order high-pass, y' = x' - wc y; it is undone by x = y + wc * integral of y for a row of
    corners, and the corner that leaves the least residual is believed if the cut then stands as it must.
    """
    count = min(len(samples), SAMPLES_USED)
    begin = (len(samples) - count) // 2
    part = samples[begin : begin + count] - np.mean(samples)
    integral = np.cumsum(part) / rate_hz
    angle = 2 * np.pi * frequency_hz / rate_hz * np.arange(count)
    cos, sin = np.cos(angle), np.sin(angle)
    least, best = np.inf, None
    for corner_hz in COUPLING_CORNERS_HZ:
        undone = part + 2 * np.pi * corner_hz * integral
        _, residual = _best_cut(undone, cos, sin)
        if residual < least:
            least, best = residual, undone
    return None if best is None else find_cut(best, rate_hz=rate_hz, frequency_hz=frequency_hz)


def _residual(basis: Floats, samples: Floats) -> float:
    coefficients = np.linalg.solve(basis @ basis.T, basis @ samples)
    return float(np.sum((samples - coefficients @ basis) ** 2))


def _best_cut(samples: Floats, cos: Floats, sin: Floats) -> tuple[Cut | None, float]:
    ones = np.ones_like(cos)
    basis = np.stack([cos, sin, ones])
    a, b, offset = np.linalg.solve(basis @ basis.T, basis @ samples)
    first = float(np.hypot(a, b))
    best: Cut | None = None
    least = np.inf
    for depth_db in STARTS_DB:
        # The fundamental of a cut sine stands between its ceiling and 4/pi of it.
        ceiling = first / (1 + 0.27 * (1 - 10 ** (-depth_db / 10)))
        found = _by_turns(samples, basis, (a * _grown(depth_db), b * _grown(depth_db), offset), ceiling)
        if found is not None and found[1] < least:
            best, least = found
    return best, least


def _grown(depth_db: float) -> float:
    drive = 10 ** (depth_db / 20)
    angle = np.arcsin(1 / drive)
    return float(drive / (2 * drive / np.pi * (angle + np.sqrt(1 - 1 / drive**2) / drive)))


def _by_turns(
    samples: Floats, basis: Floats, start: tuple[float, float, float], ceiling: float
) -> tuple[Cut, float] | None:
    sine = np.asarray(start) @ basis
    high, low = start[2] + ceiling, start[2] - ceiling
    coefficients = np.asarray(start)
    before = np.inf
    for _ in range(60):
        over, under = sine > high, sine < low
        free = ~(over | under)
        if np.count_nonzero(free) < 8:
            return None
        inside = basis[:, free]
        matrix = inside @ inside.T
        if np.linalg.cond(matrix) > 1e10:
            return None
        coefficients = np.linalg.solve(matrix, inside @ samples[free])
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
    return Cut(peak, offset, high, low, float(max(depth_db, 0.0))), residual
