"""True peak: the interpolator of ITU-R BS.1770-4 Annex 2, and bounds on its output."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

_FIRST = [0.001708984375, 0.010986328125, -0.0196533203125, 0.033203125, -0.0594482421875, 0.1373291015625]
_FIRST += [0.97216796875, -0.102294921875, 0.047607421875, -0.026611328125, 0.014892578125, -0.00830078125]
_SECOND = [-0.0291748046875, 0.029296875, -0.0517578125, 0.089111328125, -0.16650390625, 0.465087890625]
_SECOND += [0.77978515625, -0.2003173828125, 0.1015625, -0.0582275390625, 0.0330810546875, -0.0189208984375]

PHASES: Floats = np.array([_FIRST, _SECOND, _SECOND[::-1], _FIRST[::-1]])
"""Four phases of twelve taps, as printed in the annex; tap i is applied to the sample i frames earlier."""
TAPS = PHASES.shape[1]


def _bound_of(phase: Floats) -> tuple[float, float]:
    """Return (a, b) such that |output| <= a max|x| + b max|x[n] - x[n-1]| over the taps.

    The phase is split into a weighted mean of its two middle samples (at most a max|x|, a being its sum) and a
    remainder of sum 0, which summation by parts turns into differences; the weights are chosen for the smallest b.
    """
    total, share = float(phase.sum()), np.linspace(0, 1, 1001)
    rest = np.tile(phase, (len(share), 1))
    rest[:, 5] -= total * (1 - share)
    rest[:, 6] -= total * share
    return abs(total), float(np.abs(np.cumsum(rest, axis=1)[:, :-1]).sum(axis=1).min())


BOUNDS = tuple(_bound_of(phase) for phase in PHASES[:2])
"""(a, b) of the first and second phase; the other two are their mirror images."""
LARGEST_GAIN = float(np.abs(PHASES).sum(axis=1).max())
"""No output exceeds this times max|x|."""
