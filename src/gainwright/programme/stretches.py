"""The loudest stretches of a track: the most that any stretch of a given length can hold, from its distributions of power.

The distributions don't say in which order the windows came, so a stretch is bounded by the loudest windows that there are.
Windows of 100 ms bound short stretches, windows of 1 s long ones of music whose beats are short; the least bound holds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.programme.track_statistics import POWER_LOW_DBFS, POWER_STEP_DB, POWERS

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.programme.track_statistics import BandStatistics

    Floats = npt.NDArray[np.float64]

WINDOW_S = 0.1
"""Length of the shorter windows, and from one beginning of a longer one to the next."""
UPPER_EDGES: Floats = 10 ** ((POWER_LOW_DBFS + POWER_STEP_DB * np.arange(1, POWERS + 1)) / 10) / 2
"""Largest mean square of each step of a distribution of power; 1/2 for a full-scale sine."""
UPPER_EDGES.setflags(write=False)
AT_ENDS_S = 1.8
"""Windows of 1 s that a stretch lacks where it touches both ends of its track, times their distance."""


def worst_100ms(band: BandStatistics) -> float:
    """Return the most that the mean square of the loudest 100 ms of the loudest channel can be, 1/2 for a full-scale sine."""
    there = np.flatnonzero(band.power_100ms)
    return float(min(UPPER_EDGES[there[-1]], band.peak**2)) if there.size else 0.0


def loudest_stretches(band: BandStatistics, stretches_s: Floats) -> Floats:
    """Return the most that any stretch of a track holds of its loudest channel, mean square times seconds, shape (stretches,).

    Of stretches longer than the track, that of the track played again and again. They begin with a window of 100 ms; an
    incomplete last one is left out.

    Parameters
    ----------
    stretches_s : shape (stretches,).
    """
    seconds = np.asarray(stretches_s, dtype=np.float64)
    length = WINDOW_S * float(band.power_100ms.sum())
    if not length:
        return np.zeros(seconds.shape)
    whole = WINDOW_S * float(band.power_100ms @ UPPER_EDGES)
    repeats = np.floor(seconds / length + 1e-9)
    rest = np.maximum(seconds - repeats * length, 0.0)
    return np.asarray(repeats * whole + np.minimum(_inside(band, rest), whole))


def _inside(band: BandStatistics, seconds: Floats) -> Floats:
    """Return the bound of stretches within one play: the least of three."""
    short = WINDOW_S * _largest(band.power_100ms, seconds / WINDOW_S)
    one_second = band.worst_1s * np.ceil(seconds - 1e-9)
    # averaged over all beginnings, the windows of 1 s cover all of a stretch but their ramps before and after it
    long = WINDOW_S * _largest(band.power_1s, (seconds + 1) / WINDOW_S + 1) + AT_ENDS_S * band.worst_1s
    return np.minimum(np.minimum(short, one_second), long)


def _largest(counts: npt.NDArray[np.int64], number: Floats) -> Floats:
    """Return the sum of the largest `number` windows of a distribution, each at its upper edge; of all where there are fewer."""
    there = np.flatnonzero(counts)[::-1]
    reached = np.concatenate([[0.0], np.cumsum(counts[there])])
    sums = np.concatenate([[0.0], np.cumsum(counts[there] * UPPER_EDGES[there])])
    return np.asarray(np.interp(number, reached, sums))
