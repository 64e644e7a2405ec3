"""The effect of a hard ceiling on a programme, from the distribution of its levels, with bounds.

Everything above a ceiling c is clipped to it: y = clip(x, -c, c). With n_i samples between u and v in step i of the
distribution: clipped time is the share with |x| > c; the clipping products are e = x - y, their power the mean of (|x|
- c)^2 over all samples with |x| > c; the remaining power is the mean of min(x^2, c^2). Within a step, samples are
assumed to be evenly distributed; the bounds put all of them at the lower or at the upper edge, so that every programme
with this distribution lies within. e includes what is merely lost in level, so it is never less than the distortion
that remains after a gain correction.
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
    """The effects of several ceilings, one entry each: estimate and bounds.

    `share`: share of samples that are clipped (0 .. 1). `products`: mean square of the clipping products. `power`: mean
    square of the clipped programme.
    """

    share: Floats
    share_low: Floats
    share_high: Floats
    products: Floats
    products_low: Floats
    products_high: Floats
    power: Floats


def clipping_at(band: BandStatistics, ceilings: Floats) -> Clipping:
    """Return the effects of hard ceilings (peak re full scale) on a band; all zero for a band without samples.

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
    begun = np.searchsorted(high, ceiling, side="right")  # the first step that extends above the ceiling
    at = np.minimum(begun, there.size - 1)
    cut_through = (begun < there.size) & (low[at] < ceiling)
    above = begun + cut_through  # the first step entirely above it
    width = np.where(cut_through, high[at] - low[at], 1.0)
    part = np.where(cut_through, (high[at] - ceiling) / width, 0.0) * counts[at]
    rest = np.where(cut_through, (ceiling - low[at]) / width, 0.0) * counts[at]
    share = _sums_to_end(counts, above) + part
    highest = _squares_over(counts, high, high * high, begun, ceiling)
    under = counts @ squares - _sums_to_end(counts * squares, begun)
    left = under + rest * (low[at] ** 2 + low[at] * ceiling + ceiling**2) / 3 + share * ceiling**2
    surely = np.searchsorted(low, ceiling, side="right")
    return Clipping(
        share=share,
        share_low=_sums_to_end(counts, surely),
        share_high=_sums_to_end(counts, begun),
        products=_squares_over(counts, means, squares, above, ceiling) + part * (high[at] - ceiling) ** 2 / 3,
        products_low=_squares_over(counts, low, low * low, surely, ceiling),
        products_high=highest,
        power=np.minimum(left, band.mean_square),
    )


def _sums_to_end(values: Floats, first: Any) -> Floats:
    """Return the sums of values from each of several indices to the end."""
    sums = np.append(np.cumsum(values[::-1])[::-1], 0.0)
    return np.asarray(sums[first])


def _squares_over(counts: Floats, sizes: Floats, squares: Floats, first: Any, ceiling: Floats) -> Floats:
    """Return the sum of (size - c)^2 from each of several steps on; expanded, so that one pass serves all ceilings."""
    found = (
        _sums_to_end(counts * squares, first)
        - 2 * ceiling * _sums_to_end(counts * sizes, first)
        + ceiling**2 * _sums_to_end(counts, first)
    )
    return np.maximum(found, 0)
