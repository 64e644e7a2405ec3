"""Readings of meters and their error limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

SINE_FORM_FACTOR = float(np.pi / (2 * np.sqrt(2)))
"""Rms over rectified mean of a sine, 1.110721."""


def average_responding_reading(*, mean_abs: Any) -> Floats:
    """Return what an average-responding meter scaled in rms of a sine shows: pi/(2 sqrt(2)) mean|v|.

    Form factor of a sine. Valid within the meter's bandwidth and for a voltage without DC; right for a sine only (a
    square reads 11.07 % high, Gaussian noise 11.38 % low).
    """
    return np.asarray(SINE_FORM_FACTOR * np.asarray(mean_abs, dtype=np.float64))


def reading_half_width(*, reading: Any, accuracy_ratio: Any, counts: Any, resolution: Any) -> Floats:
    """Return the largest error that a specification "x % of reading + n counts" allows: |reading| x + n resolution.

    The form in which makers of handheld meters state accuracy (IEC 60359 defines how to state it; no published class).
    Valid within the range's frequencies and temperature; `resolution` is one count of the range in use.
    """
    of_reading = np.abs(np.asarray(reading, dtype=np.float64)) * accuracy_ratio
    return np.asarray(of_reading + np.asarray(counts, dtype=np.float64) * resolution)
