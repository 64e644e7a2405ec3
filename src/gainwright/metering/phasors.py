"""The phasors of a steady tone at each sample, by products instead of one sine and cosine for each."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Complexes = npt.NDArray[np.complex128]


def tone_phasors(step: float, count: int, *, start: float = 0.0) -> Complexes:
    """Return exp(i (start + step n)) for n = 0 .. count - 1, shape (count,); step and start in radians.

    The turn within a row of samples and the turn to the row are multiplied: errors stay near the rounding of one product.
    """
    width = max(1, int(np.ceil(np.sqrt(count))))
    rows = -(-count // width)
    within = np.exp(1j * step * np.arange(width))
    between = np.exp(1j * (start + step * width * np.arange(rows)))
    return np.asarray((between[:, None] * within).reshape(-1)[:count])
