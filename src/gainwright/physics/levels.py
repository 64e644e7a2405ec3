"""Volts, watts and decibels. Voltages are rms; decibels are of voltage ratios, 20 lg."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

DBU_REFERENCE_V = float(np.sqrt(0.6))
"""1 mW in 600 ohm, 0.774597 V (IEC 60027-3, IEC 60268-2); the rounded 0.775 V is 0.0045 dB more."""
DBV_REFERENCE_V = 1.0


def ratio_from_db(*, db: Any) -> Floats:
    """Return a voltage ratio: 10^(dB/20) (IEC 60027-3). Valid for any real; minus infinity is 0."""
    return np.asarray(10 ** (np.asarray(db, dtype=np.float64) / 20))


def db_from_ratio(*, ratio: Any) -> Floats:
    """Return the dB of a voltage ratio: 20 lg (IEC 60027-3). Valid from 0, which is minus infinity."""
    with np.errstate(divide="ignore"):
        return np.asarray(20 * np.log10(np.asarray(ratio, dtype=np.float64)))


def volts_from_dbu(*, level_dbu: Any) -> Floats:
    """Return volts rms of a level re sqrt(0.6) V: sqrt(0.6) 10^(L/20) (IEC 60027-3). Valid for any real."""
    return np.asarray(DBU_REFERENCE_V * ratio_from_db(db=level_dbu))


def dbu_from_volts(*, voltage_v: Any) -> Floats:
    """Return the level of volts rms re sqrt(0.6) V: 20 lg(V/sqrt(0.6)) (IEC 60027-3). Valid from 0."""
    return db_from_ratio(ratio=np.asarray(voltage_v, dtype=np.float64) / DBU_REFERENCE_V)


def volts_from_dbv(*, level_dbv: Any) -> Floats:
    """Return volts rms of a level re 1 V: 10^(L/20) (IEC 60027-3). Valid for any real."""
    return np.asarray(DBV_REFERENCE_V * ratio_from_db(db=level_dbv))


def dbv_from_volts(*, voltage_v: Any) -> Floats:
    """Return the level of volts rms re 1 V: 20 lg(V) (IEC 60027-3). Valid from 0."""
    return db_from_ratio(ratio=np.asarray(voltage_v, dtype=np.float64) / DBV_REFERENCE_V)


def sine_peak_from_rms(*, rms: Any) -> Floats:
    """Return the peak of a sine: sqrt(2) times its rms (integral of sin^2). Valid for a sine only."""
    return np.asarray(np.sqrt(2) * np.asarray(rms, dtype=np.float64))


def dbfs_from_rms(*, rms: Any) -> Floats:
    """Return the level of an rms re digital full scale (peak 1): 20 lg(sqrt(2) rms).

    AES17-2015, 3 and IEC 61606: a full-scale sine is 0 dBFS, a full-scale square +3.01 dBFS. Some call the same sine
    -3.01 dB (rms re peak); this function does not. Valid from 0.
    """
    return db_from_ratio(ratio=np.sqrt(2) * np.asarray(rms, dtype=np.float64))


def rms_from_dbfs(*, level_dbfs: Any) -> Floats:
    """Return the rms, re digital full scale, of a level re a full-scale sine: 10^(L/20)/sqrt(2) (AES17-2015, 3)."""
    return np.asarray(ratio_from_db(db=level_dbfs) / np.sqrt(2))


def voltage_for_power(*, power_w: Any, resistance_ohm: Any) -> Floats:
    """Return V = sqrt(P R), rms (Joule's law). Valid for a resistance and a power from 0 W."""
    return np.asarray(np.sqrt(np.asarray(power_w, dtype=np.float64) * np.asarray(resistance_ohm, dtype=np.float64)))


def power_for_voltage(*, voltage_v: Any, resistance_ohm: Any) -> Floats:
    """Return P = V^2/R (Joule's law). Valid for a resistance above 0; a speaker's impedance varies with frequency."""
    return np.asarray(np.asarray(voltage_v, dtype=np.float64) ** 2 / np.asarray(resistance_ohm, dtype=np.float64))
