"""The layout of the bands for the kernel: the lanes and coefficients of each filter.

Filters run in groups of two (times two channels: four lanes). The K-weighting is the second filter of the first group;
the shortest filter of a band is paired with it, so that a typical job needs only one group. A high-pass that
complements this low-pass (Linkwitz-Riley 24 at the same corner) costs three multiplications: the two add up to the
all-pass of one of their sections, so the high-pass is that all-pass minus the low-pass.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.programme.weighting import k_weighting

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.programme.band import Band

    Floats = npt.NDArray[np.float64]

BLOCK = 32768
"""Frames read and analysed at a time."""
CHUNK = 2048
"""Frames processed by all parts in turn while they are in the processor's cache; BLOCK is a multiple."""
SEGMENT = 16
"""Frames whose true peak is bounded, and computed if necessary, together; CHUNK is a multiple."""
HISTORY = SEGMENT
"""Frames before a chunk that the interpolator needs."""
TAIL = 2 * SEGMENT
"""Frames of silence after the last one, until the interpolator's output has ended."""
TICKS = 50
"""Ticks per second, at which energies are taken: fine enough for the 400 ms windows of EBU Tech 3341."""
TICKS_PER_WINDOW = 5
"""Ticks in the 100 ms windows of the power counts and of the loudness gating."""
MOST_SECTIONS = 8
OUTPUTS = 3
"""Outputs of a group: two filters and, in the first group, the complement of the first filter."""
FRAMES, WEIGHTED = 0, 2
"""Numbers of the signals that always exist: the unfiltered and the K-weighted frames."""


@dataclass(frozen=True, slots=True)
class Layout:
    """Groups of filters, and the signal of each band.

    `signals[b]` is the number of band b's signal: 0 for the unfiltered frames, 1 + OUTPUTS g + j for output j of group
    g. `coefficients` has a row of four lanes for each coefficient of the loops, `kinds` the number of sections of each
    group.
    """

    coefficients: Floats
    kinds: npt.NDArray[np.int64]
    signals: npt.NDArray[np.int64]

    @property
    def count(self) -> int:
        """The number of signals."""
        return 1 + OUTPUTS * len(self.kinds)


@functools.lru_cache(maxsize=16)
def lay_out(bands: tuple[Band, ...], rate_hz: int) -> Layout:
    """Return the layout of bands at a sample rate; it is cached and must not be modified."""
    sections = [band.sections(rate_hz) for band in bands]
    signals = np.zeros(len(bands), dtype=np.int64)
    waiting = sorted((index for index in range(len(bands)) if len(sections[index])), key=lambda i: len(sections[i]))
    paired = _band_with_weighting(bands, sections, waiting)
    first = np.zeros((5 * MOST_SECTIONS, 4))
    _fill(first, 1, 2, k_weighting(rate_hz))
    _fill(first, 0, 2, np.zeros((0, 6)) if paired is None else sections[paired])
    groups, kinds = [first], [2]
    if paired is not None:
        signals[paired] = 1
        waiting.remove(paired)
        for index in [other for other in waiting if _complement(bands[paired], bands[other], rate_hz)]:
            signals[index] = 3
            waiting.remove(index)
        _, _, _, _, a1, a2 = sections[paired][0]
        first[10:13, :2] = np.array([a2, a1, 1.0])[:, None]
    for start in range(0, len(waiting), 2):
        pair = waiting[start : start + 2]
        most = max(len(sections[index]) for index in pair)
        kind = next(kind for kind in (2, 4, MOST_SECTIONS) if kind >= most)
        rows = np.zeros((5 * MOST_SECTIONS, 4))
        for slot, index in enumerate(pair):
            _fill(rows, slot, kind, sections[index])
            signals[index] = 1 + OUTPUTS * len(groups) + slot
        groups.append(rows)
        kinds.append(kind)
    return Layout(np.array(groups), np.array(kinds, dtype=np.int64), signals)


def sums_of_signals(layout: Layout, states: Floats, total: Floats) -> Floats:
    """Return the sum of each signal, shape (signals, channels), from the sum of the frames and the final states.

    A section's delay line w obeys w[n] + a1 w[n-1] + a2 w[n-2] = x[n] from rest. Summed over all n, with p and q its
    last value and the one before, W (1 + a1 + a2) = X + (a1 + a2) p + a2 q; the sum of its output is b0 W + b1 (W - p)
    + b2 (W - p - q).

    Parameters
    ----------
    states : for each group, a row of four lanes for p and one for q of each section.
    total : sum of the frames, shape (channels,).
    """
    found = np.zeros((layout.count, 2))
    found[FRAMES] = total
    for group, kind in enumerate(layout.kinds):
        value, passed = np.tile(total, 2), np.zeros(4)
        for section in range(kind):
            minus_a1, minus_a2, *taps = layout.coefficients[group, 5 * section : 5 * section + 5]
            p, q = states[group, 2 * section : 2 * section + 2]
            whole = (value - (minus_a1 + minus_a2) * p - minus_a2 * q) / (1 - minus_a1 - minus_a2)
            runs = np.stack([whole, whole - p, whole - p - q])
            value = np.sum(taps * runs, axis=0)
            if group == section == 0:
                passed = np.sum(layout.coefficients[0, 10:13] * runs, axis=0)
        found[1 + OUTPUTS * group : 3 + OUTPUTS * group] = value.reshape(2, 2)
        if group == 0:
            found[OUTPUTS] = passed[:2] - value[:2]
    return found


def _band_with_weighting(bands: tuple[Band, ...], sections: list[Floats], waiting: list[int]) -> int | None:
    """Return the band to be paired with the K-weighting: at most two sections, preferably a low-pass; None if there is none."""
    fitting = [index for index in waiting if len(sections[index]) <= 2]
    return min(fitting, key=lambda index: bands[index].high_pass is not None, default=None)


def _complement(low: Band, high: Band, rate_hz: int) -> bool:
    """Return whether two bands are the two sides of one Linkwitz-Riley 24 crossover."""
    one, other = low.low_pass, high.high_pass
    alone = low.high_pass is None and high.low_pass is None
    fourth = one is not None and one.shape == "linkwitz-riley" and one.slope_db_per_octave == 24
    return alone and fourth and one == other and len(low.sections(rate_hz)) == 2


def _fill(rows: Floats, slot: int, kind: int, sections: Floats) -> None:
    """Write sections into a slot's two lanes, then pass-through sections."""
    for index in range(kind):
        b0, b1, b2, _, a1, a2 = sections[index] if index < len(sections) else (1, 0, 0, 1, 0, 0)
        rows[5 * index : 5 * index + 5, 2 * slot : 2 * slot + 2] = np.array([-a1, -a2, b0, b1, b2])[:, None]
