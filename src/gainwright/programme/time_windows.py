"""Energies over time: ticks of 20 ms are combined to windows, windows to powers and loudness."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.programme.filter_layout import TICKS, TICKS_PER_WINDOW
from gainwright.programme.loudness import Loudness, highest, loudness, lufs_or_none, sliding
from gainwright.programme.power_counts import PowerCounts

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

MOMENTARY = 20
"""Ticks in 400 ms."""


class TimeWindows:
    """Collects ticks and keeps only what the statistics need: fixed tables and 80 bytes per second."""

    def __init__(self, rate_hz: int, bands: int, channels: int) -> None:
        self.powers = PowerCounts(bands, channels)
        self.energy = np.zeros((bands, channels))
        self._rate_hz = rate_hz
        self._ticks = 0
        self._momentary = 0.0
        self._late = np.zeros(0)
        self._open_weighted, self._open = np.zeros(0), np.zeros((0, bands, channels))
        self._weighted: list[Floats] = [np.zeros(0)]

    def add(self, weighted: Floats, energies: Floats) -> None:
        """Add ticks: K-weighted energies summed over channels, shape (ticks,), and energies, shape (ticks, bands, channels)."""
        first = self._ticks - len(self._late)
        self._ticks += len(weighted)
        late = np.concatenate([self._late, weighted])
        lengths = self._lengths(first, len(late), TICKS)
        self._momentary = max(self._momentary, highest(sliding(late, lengths, MOMENTARY)))
        self._late = late[-MOMENTARY + 1 :]
        self.energy += energies.sum(axis=0)
        self._close_windows(np.concatenate([self._open_weighted, weighted]), np.concatenate([self._open, energies]))

    def _close_windows(self, weighted: Floats, energies: Floats) -> None:
        """Combine each five ticks to a window."""
        count = len(weighted) // TICKS_PER_WINDOW
        used = count * TICKS_PER_WINDOW
        first = (self._ticks - len(weighted)) // TICKS_PER_WINDOW
        self._open_weighted, self._open = weighted[used:], energies[used:]
        self._weighted.append(weighted[:used].reshape(count, TICKS_PER_WINDOW).sum(axis=1))
        windows = energies[:used].reshape(count, TICKS_PER_WINDOW, *energies.shape[1:]).sum(axis=1)
        self.powers.add(windows, self._lengths(first, count, TICKS // TICKS_PER_WINDOW))

    def finish(self, rest: Floats, frames: int) -> None:
        """Add the incomplete last tick, shape (bands, channels); `frames` is the total number of frames."""
        self.energy += rest
        windows = self._ticks // TICKS_PER_WINDOW
        length = frames - windows * self._rate_hz // (TICKS // TICKS_PER_WINDOW)
        self.powers.finish((self._open.sum(axis=0) + rest)[None], float(length))

    def loudness(self) -> tuple[Loudness, float | None]:
        """Return the loudness of all windows, and the highest momentary loudness."""
        weighted = np.concatenate(self._weighted)
        found = loudness(weighted, self._lengths(0, len(weighted), TICKS // TICKS_PER_WINDOW))
        return found, lufs_or_none(self._momentary)

    def _lengths(self, first: int, count: int, per_second: int) -> Floats:
        """Return the lengths in frames of ticks or windows from `first` on; their ends are rounded down to a frame."""
        return np.diff(np.arange(first, first + count + 1) * self._rate_hz // per_second).astype(np.float64)
