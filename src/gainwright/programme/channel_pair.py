"""The interface of the analysis of two channels, independent of its implementation."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.programme.filter_layout import BLOCK, CHUNK, HISTORY, TAIL
from gainwright.programme.track_statistics import LEVELS, OCTAVES, STEPS_PER_OCTAVE

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Samples = npt.NDArray[np.float32]


CODES = 32768
LOWEST_CODE = (OCTAVES[0] + 127) * STEPS_PER_OCTAVE
"""Upper bits of the float32 at the lower edge of the first level."""


def level_counts(codes: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Convert counts by the upper bits of a float32's magnitude (last axis) to counts by level."""
    levels = codes[..., LOWEST_CODE : LOWEST_CODE + LEVELS].copy()
    levels[..., 0] += codes[..., :LOWEST_CODE].sum(axis=-1)
    levels[..., -1] += codes[..., LOWEST_CODE + LEVELS :].sum(axis=-1)
    return levels


@dataclass(frozen=True, slots=True)
class Ticks:
    """Energies (sums of squares) of ticks of 20 ms: K-weighted, shape (ticks, channels), and (ticks, bands, channels)."""

    weighted: Floats
    energies: Floats


@dataclass(frozen=True, slots=True)
class Totals:
    """Totals over the whole length: `levels` and `sums` by band and channel, peaks and clipped samples by band.

    `rest` is the last, incomplete tick.
    """

    levels: npt.NDArray[np.int64]
    sums: Floats
    peaks: Floats
    true_peaks: Floats
    clipped: npt.NDArray[np.int64]
    rest: Ticks


class ChannelPair(ABC):
    """Write frames into `frames()`, then call `feed`; `drain` returns the ticks so far, `totals` the result at the end."""

    def __init__(self) -> None:
        self.work: Samples = np.zeros(2 * (HISTORY + BLOCK + TAIL), dtype=np.float32)

    def frames(self) -> Samples:
        """Return the writable buffer of the next block, shape (BLOCK, 2)."""
        return self.work[2 * HISTORY : 2 * (HISTORY + BLOCK)].reshape(BLOCK, 2)

    def feed(self, count: int, *, last: bool) -> None:
        """Analyse `count` frames of `frames()`: whole chunks, except for the last block."""
        if not last and count % CHUNK:
            raise ValueError("only the last block may end within a chunk")
        if last:
            self.work[2 * (HISTORY + count) : 2 * (HISTORY + count + TAIL)] = 0
        self._advance(count, last=last)
        if not last:
            self.work[: 2 * HISTORY] = self.work[2 * count : 2 * (count + HISTORY)]

    @abstractmethod
    def _advance(self, count: int, *, last: bool) -> None:
        """Run the analysis on one block."""

    @abstractmethod
    def drain(self) -> Ticks:
        """Return the ticks completed since the last call."""

    @abstractmethod
    def totals(self) -> Totals:
        """Return the totals; called once, after the last block."""
