"""The analysis of two channels with numpy and scipy, block by block: slower than the compiled kernel, and needs no compiler.

It is used where the extra `fast-music` isn't installed. The results are those of the kernel but for rounding; the tests
compare both with the same references.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.programme.channel_pair import CODES, ChannelPair, Ticks, Totals, level_counts
from gainwright.programme.filter_layout import HISTORY, SEGMENT, TAIL, TICKS
from gainwright.programme.track_statistics import FULL_SCALE
from gainwright.programme.true_peak import BOUNDS, LARGEST_GAIN, PHASES, TAPS
from gainwright.programme.weighting import k_weighting

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.programme.band import Band

    Floats = npt.NDArray[np.float64]
    Samples = npt.NDArray[np.float32]


_REVERSED = np.ascontiguousarray(PHASES[:, ::-1].T)
_ROUNDING = np.float32(1 + 1e-5)
"""Upper bound of the relative error of single precision."""


class PlainPair(ChannelPair):
    """Two channels analysed by whole-array calls."""

    def __init__(self, bands: tuple[Band, ...], rate_hz: int) -> None:
        super().__init__()
        self._rate_hz = rate_hz
        self._filters = [k_weighting(rate_hz), *(band.sections(rate_hz) for band in bands)]
        self._states = [np.zeros((len(sections), 2, 2)) for sections in self._filters]
        self._at = self._tick = 0
        self._open = np.zeros((len(self._filters), 2))
        self._closed: list[Floats] = []
        self._looks = [_Look() for _ in bands]

    def _advance(self, count: int, *, last: bool) -> None:
        frames = self.work[2 * HISTORY : 2 * (HISTORY + count)].reshape(-1, 2)
        filtered = []
        for index, sections in enumerate(self._filters):
            signal64 = frames.astype(np.float64)
            if len(sections) and count:
                from scipy import signal

                signal64, self._states[index] = signal.sosfilt(sections, signal64, axis=0, zi=self._states[index])
            filtered.append(signal64)
        self._add_energies(np.stack([part**2 for part in filtered]))
        for look, part in zip(self._looks, filtered[1:], strict=True):
            look.advance(part, last=last)

    def _add_energies(self, squares: Floats) -> None:
        """Add squares (signal, frame, channel) to the open tick, closing each that is full."""
        done, count = 0, squares.shape[1]
        while done < count:
            end = (self._tick + 1) * self._rate_hz // TICKS
            take = min(count - done, end - self._at)
            self._open += squares[:, done : done + take].sum(axis=1)
            done += take
            self._at += take
            if self._at == end:
                self._closed.append(self._open)
                self._open = np.zeros_like(self._open)
                self._tick += 1

    def drain(self) -> Ticks:
        """Return the ticks that were finished since the last time."""
        closed = np.array(self._closed).reshape(-1, *self._open.shape)
        self._closed = []
        return Ticks(closed[:, 0], closed[:, 1:])

    def totals(self) -> Totals:
        """Return what the pair held."""
        return Totals(
            levels=level_counts(np.array([look.codes for look in self._looks])),
            sums=np.array([look.sums for look in self._looks]),
            peaks=np.array([look.peak for look in self._looks]),
            true_peaks=np.array([max(look.between, look.peak) for look in self._looks]),
            clipped=np.array([look.clipped for look in self._looks], dtype=np.int64),
            rest=Ticks(self._open[None, 0], self._open[None, 1:]),
        )


class _Look:
    """Counts, sums and peaks of one band's samples in single precision."""

    def __init__(self) -> None:
        self.codes = np.zeros((2, CODES), dtype=np.int64)
        self.sums = np.zeros(2)
        self.peak = self.between = 0.0
        self.clipped = 0
        self._before: Samples = np.zeros((HISTORY, 2), dtype=np.float32)
        self._runs = [0, 0]

    def advance(self, exact: Floats, *, last: bool) -> None:
        """Take a block of (frames, 2) in."""
        samples = np.ascontiguousarray(exact, dtype=np.float32)
        codes = (samples.view(np.uint32) >> 16) & (CODES - 1)
        for channel in range(2):
            self.codes[channel] += np.bincount(codes[:, channel], minlength=CODES)
            self._count_clipped(np.abs(samples[:, channel]) >= FULL_SCALE, channel)
        self.sums += exact.sum(axis=0)
        if len(samples):
            self.peak = max(self.peak, float(np.abs(samples).max()))
        tail = np.zeros((TAIL - len(samples) % SEGMENT if last else 0, 2), dtype=np.float32)
        run = np.concatenate([self._before, samples, tail])
        self._find_between(run)
        self._before = run[-HISTORY:]

    def _find_between(self, run: Samples) -> None:
        """Interpolate where the bounds don't rule out a new largest point."""
        sizes = np.abs(run).reshape(-1, SEGMENT * 2).max(axis=1)
        steps = np.abs(np.diff(run, axis=0, prepend=0)).reshape(-1, SEGMENT * 2).max(axis=1)
        steps[0] = 2 * sizes[0]
        most, steepest = np.maximum(sizes[1:], sizes[:-1]), np.maximum(steps[1:], steps[:-1])
        bound = np.minimum(LARGEST_GAIN * most, np.max([a * most + b * steepest for a, b in BOUNDS], axis=0))
        passing = np.flatnonzero(bound * _ROUNDING > max(self.between, self.peak))
        if len(passing):
            needed = SEGMENT * passing[:, None] + np.arange(HISTORY - TAPS + 1, HISTORY + SEGMENT)
            windows = np.lib.stride_tricks.sliding_window_view(run[needed].astype(np.float64), TAPS, axis=1)
            self.between = max(self.between, float(np.abs(windows @ _REVERSED).max()))

    def _count_clipped(self, over: npt.NDArray[np.bool_], channel: int) -> None:
        """Add the samples in runs of two or more; a run may have begun in the block before."""
        if not over.any():
            self._runs[channel] = 0
            return
        padded = np.concatenate([[False], over, [False]])
        edges = np.flatnonzero(np.diff(padded.astype(np.int8)))
        begins, ends = edges[::2], edges[1::2]
        lengths = ends - begins
        before = self._runs[channel] if begins[0] == 0 else 0
        for index, length in enumerate(lengths):
            earlier = before if index == 0 else 0
            if earlier + length >= 2:
                self.clipped += int(length) + (1 if earlier == 1 else 0)
        through = ends[-1] == len(over)
        whole = through and begins[-1] == 0
        self._runs[channel] = (int(lengths[-1]) + (before if whole else 0)) if through else 0
