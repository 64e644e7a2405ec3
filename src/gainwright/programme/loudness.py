"""Loudness from the K-weighted energies of 100 ms windows (ITU-R BS.1770-4, EBU R 128, Tech 3341 and 3342)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

OFFSET_LUFS = -0.691
ABSOLUTE_GATE_LUFS = -70.0
RELATIVE_GATE_LU, RANGE_GATE_LU = -10.0, -20.0
BLOCK, SHORT_TERM = 4, 30
"""Number of 100 ms windows in 400 ms and in 3 s."""
RANGE_PERCENT = (10, 95)


@dataclass(frozen=True, slots=True)
class Loudness:
    """Integrated loudness, loudness range and highest short-term loudness; None where nothing passes the gate."""

    lufs: float | None
    loudness_range_lu: float | None
    short_term_lufs: float | None


def lufs(mean_square: float) -> float:
    """Return the loudness of a K-weighted mean square (weighted sum over channels), LUFS: -0.691 + 10 lg."""
    return OFFSET_LUFS + 10 * math.log10(mean_square) if mean_square > 0 else -math.inf


def _gate(level_lufs: float) -> float:
    """Return the mean square of a loudness."""
    return float(10 ** ((level_lufs - OFFSET_LUFS) / 10))


def sliding(energies: Floats, lengths: Floats, windows: int) -> Floats:
    """Return the mean squares of every run of `windows` consecutive windows."""
    if len(energies) < windows:
        return np.zeros(0)
    return np.asarray(sums_of_runs(energies, windows) / sums_of_runs(lengths, windows))


def sums_of_runs(values: Floats, windows: int) -> Floats:
    """Return the sums of every run of `windows` consecutive values along the first axis, which has at least as many."""
    count = len(values) - windows + 1
    sums = values[:count].copy()
    for later in range(1, windows):
        sums += values[later : later + count]
    return sums


def loudness(energies: Floats, lengths: Floats) -> Loudness:
    """Return the loudness of consecutive 100 ms windows, from their energies (weighted sum over channels) and lengths in frames."""
    blocks, short = sliding(energies, lengths, BLOCK), sliding(energies, lengths, SHORT_TERM)
    integrated = None
    heard = blocks[blocks > _gate(ABSOLUTE_GATE_LUFS)]
    if len(heard):
        threshold = float(heard.mean()) * 10 ** (RELATIVE_GATE_LU / 10)
        integrated = lufs(float(heard[heard > threshold].mean()))
    return Loudness(integrated, _range(short), lufs_or_none(highest(short)))


def highest(mean_squares: Floats) -> float:
    """Return the largest mean square, 0 if there is none."""
    return float(mean_squares.max()) if len(mean_squares) else 0.0


def lufs_or_none(mean_square: float) -> float | None:
    """Return the loudness of a mean square, None for silence."""
    return lufs(mean_square) if mean_square > 0 else None


def _range(short: Floats) -> float | None:
    """Return the loudness range: from the 10th to the 95th percentile of the gated short-term loudness (Tech 3342)."""
    heard = short[short >= _gate(ABSOLUTE_GATE_LUFS)]
    if not len(heard):
        return None
    heard = np.sort(heard[heard >= heard.mean() * 10 ** (RANGE_GATE_LU / 10)])
    low, high = (heard[round((len(heard) - 1) * percent / 100)] for percent in RANGE_PERCENT)
    return float(10 * math.log10(high / low))
