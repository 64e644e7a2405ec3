"""How bands are laid out for the kernel: which filter runs in which lanes, with which coefficients.

Filters go in groups of two (times two channels: four lanes). The K-weighting is the second of the first group; the band
that takes the least stands beside it, so that the usual job has one group. A high-pass that complements that low-pass
(Linkwitz-Riley 24 at one corner) costs three multiplications: low and high add up to the all-pass of one of their
sections, so it is that all-pass less the low-pass.
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
"""Frames that are read and analysed at a time."""
CHUNK = 2048
"""Frames that go through one part after the other while they are in a near cache; BLOCK is a multiple."""
SEGMENT = 16
"""Frames whose true peak is bounded, and worked out if need be, together; CHUNK is a multiple."""
HISTORY = SEGMENT
"""Frames before a chunk that the interpolator reads."""
TAIL = 2 * SEGMENT
"""Frames of silence after the last, for the interpolator to come to rest."""
TICKS = 50
"""Energies are taken each fiftieth of a second, so that no 400 ms of Tech 3341 fall between two windows."""
TICKS_PER_WINDOW = 5
"""Ticks in the 100 ms by which powers are counted and loudness is gated."""
MOST_SECTIONS = 8
OUTPUTS = 3
"""Signals a group gives: two filters and, in the first, what the second leaves over."""
FRAMES, WEIGHTED = 0, 2
"""Numbers of the signals that are always there: the frames as they are and K-weighted."""


@dataclass(frozen=True, slots=True)
class Layout:
    """Groups of filters and where each band is found.

    `signals[b]` is the number of band b's signal: 0 the frames, 1 + OUTPUTS g + j output j of group g. `coefficients`
    has a row of four lanes for each number the loops want, `kinds` the sections of each group.
    """

    coefficients: Floats
    kinds: npt.NDArray[np.int64]
    signals: npt.NDArray[np.int64]

    @property
    def count(self) -> int:
        """How many signals there are."""
        return 1 + OUTPUTS * len(self.kinds)


@functools.lru_cache(maxsize=16)
def lay_out(bands: tuple[Band, ...], rate_hz: int) -> Layout:
    """Return the layout of bands at a sample rate; not to be written to: the next track has the same."""
    sections = [band.sections(rate_hz) for band in bands]
    signals = np.zeros(len(bands), dtype=np.int64)
    waiting = sorted((index for index in range(len(bands)) if len(sections[index])), key=lambda i: len(sections[i]))
    beside = _beside_weighting(bands, sections, waiting)
    first = np.zeros((5 * MOST_SECTIONS, 4))
    _fill(first, 1, 2, k_weighting(rate_hz))
    _fill(first, 0, 2, np.zeros((0, 6)) if beside is None else sections[beside])
    groups, kinds = [first], [2]
    if beside is not None:
        signals[beside] = 1
        waiting.remove(beside)
        for index in [other for other in waiting if _complement(bands[beside], bands[other], rate_hz)]:
            signals[index] = 3
            waiting.remove(index)
        _, _, _, _, a1, a2 = sections[beside][0]
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
    """Return the sums of all signals' samples, shape (signals, channels), from those of the frames and the states at the end.

    A section's delay line w obeys w[n] + a1 w[n-1] + a2 w[n-2] = x[n] from rest; added up over all n, with p and q its last
    value and the one before, W (1 + a1 + a2) = X + (a1 + a2) p + a2 q; its output adds up to
    b0 W + b1 (W - p) + b2 (W - p - q).

    Parameters
    ----------
    states : of each group, a row of four lanes for p and one for q of each section.
    total : of the frames, shape (channels,).
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


def _beside_weighting(bands: tuple[Band, ...], sections: list[Floats], waiting: list[int]) -> int | None:
    """Return the band that runs beside the K-weighting: two sections at most, a low-pass first."""
    fitting = [index for index in waiting if len(sections[index]) <= 2]
    return min(fitting, key=lambda index: bands[index].high_pass is not None, default=None)


def _complement(low: Band, high: Band, rate_hz: int) -> bool:
    """Return whether two bands are the low and the high side of one Linkwitz-Riley 24 crossover."""
    one, other = low.low_pass, high.high_pass
    alone = low.high_pass is None and high.low_pass is None
    fourth = one is not None and one.shape == "linkwitz-riley" and one.slope_db_per_octave == 24
    return alone and fourth and one == other and len(low.sections(rate_hz)) == 2


def _fill(rows: Floats, slot: int, kind: int, sections: Floats) -> None:
    """Write sections into a slot's two lanes, then sections that pass everything."""
    for index in range(kind):
        b0, b1, b2, _, a1, a2 = sections[index] if index < len(sections) else (1, 0, 0, 1, 0, 0)
        rows[5 * index : 5 * index + 5, 2 * slot : 2 * slot + 2] = np.array([-a1, -a2, b0, b1, b2])[:, None]
