"""What a hard ceiling does to a programme, from the distribution of its levels, with the bounds of that.

Everything above a ceiling c is cut to it: y = clip(x, -c, c). With n_i samples of size u to v in step i of the distribution:
time clipped is the share with |x| > c; the clipping products are e = x - y, their power the mean of (|x| - c)^2 over all
samples with |x| > c; the power left is the mean of min(x^2, c^2). Within a step samples are taken as
spread evenly; the bounds put all of them at its lower or its upper edge, so no programme with this distribution lies
outside. e holds what is only lost in level, too: it is never less than the distortion that remains once a change of
gain is taken out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.programme.track_statistics import LEVEL_EDGES

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.programme.track_statistics import BandStatistics

    Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Clipping:
    """What ceilings do, one entry each: middle and bounds.

    `share` of samples clipped (0 .. 1); `products` mean square of what is cut off; `power` mean square of what is left.
    """

    share: Floats
    share_low: Floats
    share_high: Floats
    products: Floats
    products_low: Floats
    products_high: Floats
    power: Floats


def clipping_at(band: BandStatistics, ceilings: Floats) -> Clipping:
    """Return what hard ceilings, peaks re full scale, do to a band; all zero for a band without samples.

    ValueError for a ceiling that isn't above 0.
    """
    ceiling = np.asarray(ceilings, dtype=np.float64)
    if not np.all(ceiling > 0):
        raise ValueError("a ceiling is above 0")
    there = np.flatnonzero(band.levels)
    if not band.samples or not there.size:
        zero = np.zeros(ceiling.shape)
        return Clipping(zero, zero, zero, zero, zero, zero, zero)
    counts = band.levels[there] / band.samples
    low = np.where(there == 0, 0.0, LEVEL_EDGES[there])
    high = LEVEL_EDGES[there + 1].copy()
    high[-1] = max(low[-1], min(high[-1], band.peak) if there[-1] + 1 < LEVEL_EDGES.size - 1 else band.peak)
    means, squares = (low + high) / 2, (low * low + low * high + high * high) / 3
    begun = np.searchsorted(high, ceiling, side="right")  # the first step that reaches above the ceiling
    at = np.minimum(begun, there.size - 1)
    cut_through = (begun < there.size) & (low[at] < ceiling)
    above = begun + cut_through  # the first step that lies above it as a whole
    width = np.where(cut_through, high[at] - low[at], 1.0)
    part = np.where(cut_through, (high[at] - ceiling) / width, 0.0) * counts[at]
    rest = np.where(cut_through, (ceiling - low[at]) / width, 0.0) * counts[at]
    share = _from(counts, above) + part
    highest = _squares_over(counts, high, high * high, begun, ceiling)
    under = counts @ squares - _from(counts * squares, begun)
    left = under + rest * (low[at] ** 2 + low[at] * ceiling + ceiling**2) / 3 + share * ceiling**2
    surely = np.searchsorted(low, ceiling, side="right")
    return Clipping(
        share=share,
        share_low=_from(counts, surely),
        share_high=_from(counts, begun),
        products=_squares_over(counts, means, squares, above, ceiling) + part * (high[at] - ceiling) ** 2 / 3,
        products_low=_squares_over(counts, low, low * low, surely, ceiling),
        products_high=highest,
        power=np.minimum(left, band.mean_square),
    )


def _from(values: Floats, first: Any) -> Floats:
    """Return the sums of values from each of some places to the end."""
    sums = np.append(np.cumsum(values[::-1])[::-1], 0.0)
    return np.asarray(sums[first])


def _squares_over(counts: Floats, sizes: Floats, squares: Floats, first: Any, ceiling: Floats) -> Floats:
    """Return the sum of (size - c)^2 from each of some steps on, written out so that one pass serves every ceiling."""
    found = (
        _from(counts * squares, first) - 2 * ceiling * _from(counts * sizes, first) + ceiling**2 * _from(counts, first)
    )
    return np.maximum(found, 0)
