"""Two channels on their way through the analysis: what it is asked for, whichever way it is worked out."""

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
"""Upper bits of the float32 at which the first level begins."""


def level_counts(codes: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Return counts by level of counts by the upper bits of a float32's magnitude (last axis)."""
    levels = codes[..., LOWEST_CODE : LOWEST_CODE + LEVELS].copy()
    levels[..., 0] += codes[..., :LOWEST_CODE].sum(axis=-1)
    levels[..., -1] += codes[..., LOWEST_CODE + LEVELS :].sum(axis=-1)
    return levels


@dataclass(frozen=True, slots=True)
class Ticks:
    """Energies (sums of squares) of ticks of 20 ms: K-weighted (tick, channel), and (tick, band, channel)."""

    weighted: Floats
    energies: Floats


@dataclass(frozen=True, slots=True)
class Totals:
    """What a pair held from first to last: by band and channel `levels`, `sums`; by band peaks and clipped samples.

    `rest` is the last tick, unfinished.
    """

    levels: npt.NDArray[np.int64]
    sums: Floats
    peaks: Floats
    true_peaks: Floats
    clipped: npt.NDArray[np.int64]
    rest: Ticks


class ChannelPair(ABC):
    """Frames go into `frames()`, then `feed`; ticks come out of `drain` now and then, the totals at the end."""

    def __init__(self) -> None:
        self.work: Samples = np.zeros(2 * (HISTORY + BLOCK + TAIL), dtype=np.float32)

    def frames(self) -> Samples:
        """Return the place of the next block, (BLOCK, 2) and writable."""
        return self.work[2 * HISTORY : 2 * (HISTORY + BLOCK)].reshape(BLOCK, 2)

    def feed(self, count: int, *, last: bool) -> None:
        """Analyse so many frames of `frames()`; whole chunks, but for the last time."""
        if not last and count % CHUNK:
            raise ValueError("only the last block may end within a chunk")
        if last:
            self.work[2 * (HISTORY + count) : 2 * (HISTORY + count + TAIL)] = 0
        self._advance(count, last=last)
        if not last:
            self.work[: 2 * HISTORY] = self.work[2 * count : 2 * (count + HISTORY)]

    @abstractmethod
    def _advance(self, count: int, *, last: bool) -> None:
        """Take a block through everything."""

    @abstractmethod
    def drain(self) -> Ticks:
        """Return the ticks that were finished since the last time."""

    @abstractmethod
    def totals(self) -> Totals:
        """Return what the pair held; called once, after the last block."""
