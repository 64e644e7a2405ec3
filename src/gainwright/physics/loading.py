"""Resistances together."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]


def divider(*, source_ohm: Any, load_ohm: Any) -> Floats:
    """Return the voltage across a load over that of its source: R_load/(R_source + R_load)."""
    load = np.asarray(load_ohm, dtype=np.float64)
    return np.asarray(load / (source_ohm + load))


def parallel(*resistances_ohm: Any) -> Floats:
    """Return the resistance of several in parallel: 1/sum(1/R)."""
    return np.asarray(1 / sum(1 / np.asarray(r, dtype=np.float64) for r in resistances_ohm))
