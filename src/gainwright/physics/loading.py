"""Voltage dividers, and resistances in parallel."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]


def divider(*, source_ohm: Any, load_ohm: Any) -> Floats:
    """Return the voltage across a load over that of its source: R_load/(R_source + R_load).

    Ohm's law. Valid for resistive source and load, not both 0; an infinite load gives 1.
    """
    load = np.asarray(load_ohm, dtype=np.float64)
    with np.errstate(divide="ignore"):
        return np.asarray(1 / (1 + np.asarray(source_ohm, dtype=np.float64) / load))


def series_for_loss(*, loss_db: Any, source_ohm: Any, load_ohm: Any) -> Floats:
    """Return the resistance that attenuates by a loss when connected in series between a source and its load, ohm.

    From the divider with and without it: R = (R_source + R_load) (10^(loss/20) - 1). Valid for resistive source and load
    and a loss of 0 dB or more.
    """
    total = np.asarray(source_ohm, dtype=np.float64) + np.asarray(load_ohm, dtype=np.float64)
    return np.asarray(total * (10 ** (np.asarray(loss_db, dtype=np.float64) / 20) - 1))


def parallel(*resistances_ohm: Any) -> Floats:
    """Return the resistance of several resistances in parallel: 1/sum(1/R).

    Kirchhoff's current law. Valid from 0 (a short, which gives 0) to infinity (open, which adds nothing). ValueError
    without any.
    """
    if not resistances_ohm:
        raise ValueError("nothing to put in parallel: give one resistance or more")
    with np.errstate(divide="ignore"):
        siemens = sum(1 / np.asarray(r, dtype=np.float64) for r in resistances_ohm)
        return np.asarray(1 / np.asarray(siemens))
