"""What an amplifier can give: its rating, its load, its supply."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.physics.clipping import clipped_sine_rms, drive_for_thd
from gainwright.physics.levels import voltage_for_power

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

RATED_THD = 0.01
"""CTA-2006 rates power at 14.4 V and up to 1 % THD+N."""
_RMS_AT_RATED_THD = float(clipped_sine_rms(drive=drive_for_thd(thd=RATED_THD)) * np.sqrt(2))


def rated_clip_voltage(*, power_w: Any, load_ohm: Any) -> Floats:
    """Return the rms of the largest clean sine of an amplifier rated `power_w` into `load_ohm` at 1 % THD.

    sqrt(P R) is the rms of a sine clipped to 1 % THD, which lies 0.2017 dB above the one that just touches (closed form).
    """
    return np.asarray(voltage_for_power(power_w=power_w, resistance_ohm=load_ohm) / _RMS_AT_RATED_THD)


def rail_scaling(*, supply_v: Any, rated_at_v: Any, regulated: bool) -> Floats:
    """Return the ceiling over the rated one: proportional to the supply, unless the supply inside is regulated.

    12.6 V re 14.4 V is -1.1598 dB.
    """
    ratio = np.asarray(supply_v, dtype=np.float64) / rated_at_v
    return np.ones_like(ratio) if regulated else ratio


def loaded_ceiling(*, ratings_load_ohm: Any, ratings_v: Any, load_ohm: Any) -> Floats:
    """Return an amplifier's voltage ceiling into a real load.

    Between rated loads linear in conductance (a source of constant internal resistance is; an approximation of real
    amplifiers), above the highest rated load constant, below the lowest limited by the current of that load.

    Parameters
    ----------
    ratings_load_ohm : shape (ratings,).
    ratings_v : shape (..., ratings).
    load_ohm : shape (...), infinite for none.
    """
    loads = np.asarray(ratings_load_ohm, dtype=np.float64)
    order = np.argsort(loads)
    loads, volts = loads[order], np.asarray(ratings_v, dtype=np.float64)[..., order]
    load = np.asarray(load_ohm, dtype=np.float64)
    shape = np.broadcast_shapes(volts.shape[:-1], load.shape)
    volts = np.broadcast_to(volts, (*shape, len(loads)))
    with np.errstate(divide="ignore"):
        siemens = np.broadcast_to(1 / load, shape)
    ceiling = np.array(volts[..., -1])
    for i in range(len(loads) - 1):
        low, high = 1 / loads[i + 1], 1 / loads[i]
        share = np.clip((siemens - low) / (high - low), 0, 1)
        between = volts[..., i + 1] + share * (volts[..., i] - volts[..., i + 1])
        ceiling = np.where(siemens > low, between, ceiling)
    limited = volts[..., 0] / (np.maximum(siemens, 1e-300) * loads[0])
    return np.asarray(np.where(siemens * loads[0] > 1, limited, ceiling))


def supply_current_a(*, output_power_w: Any, efficiency: Any, supply_v: Any) -> Floats:
    """Return the supply current: P/(efficiency V)."""
    return np.asarray(np.asarray(output_power_w, dtype=np.float64) / (efficiency * np.asarray(supply_v)))
