"""Distributions of power over 100 ms and 1 s, built window by window."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.programme.loudness import sums_of_runs
from gainwright.programme.track_statistics import POWER_LOW_DBFS, POWER_STEP_DB, POWERS

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

SECOND = 10
"""Number of 100 ms windows in a second."""


class PowerCounts:
    """Counts of windows by power, for several bands; each window counts with its loudest channel."""

    def __init__(self, bands: int, channels: int) -> None:
        self.short = np.zeros((bands, POWERS), dtype=np.int64)
        self.second = np.zeros((bands, POWERS), dtype=np.int64)
        self.worst_second = np.zeros(bands)
        self._energies = np.zeros((0, bands, channels))
        self._lengths = np.zeros(0)

    def add(self, energies: Floats, lengths: Floats) -> None:
        """Add windows: energies, shape (windows, bands, channels), and lengths in frames."""
        if not len(lengths):
            return
        self._count(self.short, (energies / lengths[:, None, None]).max(axis=2))
        run, frames = np.concatenate([self._energies, energies]), np.concatenate([self._lengths, lengths])
        if len(frames) >= SECOND:
            means = sums_of_runs(run, SECOND) / sums_of_runs(frames, SECOND)[:, None, None]
            self._count_seconds(means.max(axis=2))
        self._energies, self._lengths = run[-SECOND + 1 :], frames[-SECOND + 1 :]

    def finish(self, energies: Floats, length: float) -> None:
        """Add the incomplete last window, shape (1, bands, channels); it counts only if the track has no complete one."""
        if not self.short.sum() and length:
            self._count(self.short, (energies / length).max(axis=2))
        if not self.second.sum() and len(self._lengths) + length:
            sums = self._energies.sum(axis=0) + energies[0]
            self._count_seconds((sums / (self._lengths.sum() + length)).max(axis=1)[None])

    def _count_seconds(self, mean_squares: Floats) -> None:
        self._count(self.second, mean_squares)
        self.worst_second = np.maximum(self.worst_second, mean_squares.max(axis=0))

    def _count(self, counts: npt.NDArray[np.int64], mean_squares: Floats) -> None:
        """Count mean squares, shape (windows, bands), by their level after AES17."""
        with np.errstate(divide="ignore"):
            steps = (10 * np.log10(2 * mean_squares) - POWER_LOW_DBFS) / POWER_STEP_DB
        places = np.clip(np.floor(steps), 0, POWERS - 1).astype(np.int64)
        for band in range(len(counts)):
            counts[band] += np.bincount(places[:, band], minlength=POWERS)
