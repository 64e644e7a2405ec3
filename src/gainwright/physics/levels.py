"""Volts, watts and decibels. Voltages are rms; decibels are of voltage ratios, 20 lg."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]


def ratio_from_db(*, db: Any) -> Floats:
    """Return a voltage ratio: 10^(dB/20) (IEC 60027-3). Valid for any real; minus infinity is 0."""
    return np.asarray(10 ** (np.asarray(db, dtype=np.float64) / 20))


def db_from_ratio(*, ratio: Any) -> Floats:
    """Return the dB of a voltage ratio: 20 lg (IEC 60027-3). Valid from 0, which is minus infinity."""
    with np.errstate(divide="ignore"):
        return np.asarray(20 * np.log10(np.asarray(ratio, dtype=np.float64)))


def dbfs_from_rms(*, rms: Any) -> Floats:
    """Return the level of an rms re digital full scale (peak 1): 20 lg(sqrt(2) rms).

    AES17-2015, 3 and IEC 61606: a full-scale sine is 0 dBFS, a full-scale square +3.01 dBFS. Some call the same sine
    -3.01 dB (rms re peak); this function does not. Valid from 0.
    """
    return db_from_ratio(ratio=np.sqrt(2) * np.asarray(rms, dtype=np.float64))


def voltage_for_power(*, power_w: Any, resistance_ohm: Any) -> Floats:
    """Return V = sqrt(P R), rms (Joule's law). Valid for a resistance and a power from 0 W."""
    return np.asarray(np.sqrt(np.asarray(power_w, dtype=np.float64) * np.asarray(resistance_ohm, dtype=np.float64)))
