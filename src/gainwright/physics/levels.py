"""Volts, watts and decibels."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

DBU_REFERENCE_V = float(np.sqrt(0.6))
"""1 mW in 600 ohm (IEC 60027-3, IEC 60268-2)."""
DBV_REFERENCE_V = 1.0


def ratio_from_db(*, db: Any) -> Floats:
    """Return a voltage ratio: 10^(dB/20)."""
    return np.asarray(10 ** (np.asarray(db, dtype=np.float64) / 20))


def db_from_ratio(*, ratio: Any) -> Floats:
    """Return the dB of a voltage ratio: 20 lg."""
    return np.asarray(20 * np.log10(np.asarray(ratio, dtype=np.float64)))


def volts_from_dbu(*, level_dbu: Any) -> Floats:
    """Return volts rms of a level re sqrt(0.6) V."""
    return np.asarray(DBU_REFERENCE_V * ratio_from_db(db=level_dbu))


def dbu_from_volts(*, voltage_v: Any) -> Floats:
    """Return the level of volts rms re sqrt(0.6) V."""
    return db_from_ratio(ratio=np.asarray(voltage_v) / DBU_REFERENCE_V)


def volts_from_dbv(*, level_dbv: Any) -> Floats:
    """Return volts rms of a level re 1 V."""
    return ratio_from_db(db=level_dbv)


def dbv_from_volts(*, voltage_v: Any) -> Floats:
    """Return the level of volts rms re 1 V."""
    return db_from_ratio(ratio=np.asarray(voltage_v) / DBV_REFERENCE_V)


def sine_peak_from_rms(*, rms: Any) -> Floats:
    """Return the peak of a sine: sqrt(2) times its rms."""
    return np.asarray(np.sqrt(2) * np.asarray(rms, dtype=np.float64))


def dbfs_from_rms(*, rms: Any) -> Floats:
    """Return the level of an rms re digital full scale (peak 1): a full-scale sine is 0 dBFS (AES17-2015, 3)."""
    return db_from_ratio(ratio=np.sqrt(2) * np.asarray(rms))


def rms_from_dbfs(*, level_dbfs: Any) -> Floats:
    """Return the rms of a level re a full-scale sine (AES17-2015, 3)."""
    return np.asarray(ratio_from_db(db=level_dbfs) / np.sqrt(2))


def voltage_for_power(*, power_w: Any, resistance_ohm: Any) -> Floats:
    """Return V = sqrt(P R), rms."""
    return np.asarray(np.sqrt(np.asarray(power_w, dtype=np.float64) * resistance_ohm))


def power_for_voltage(*, voltage_v: Any, resistance_ohm: Any) -> Floats:
    """Return P = V^2 / R."""
    return np.asarray(np.asarray(voltage_v, dtype=np.float64) ** 2 / resistance_ohm)
