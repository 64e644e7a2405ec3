"""The output an amplifier can deliver: its rating, its load, its supply."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.physics.clipping import clipped_sine_rms, drive_for_thd
from gainwright.physics.levels import voltage_for_power

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

RATED_THD = 0.01
"""CTA-2006 rates power at 14.4 V and up to 1 % THD+N."""


@functools.cache
def _rms_at_rated_thd() -> float:
    """Return the rms of a sine clipped to the rated THD over that of the largest clean sine."""
    return float(clipped_sine_rms(drive=drive_for_thd(thd=RATED_THD)) * np.sqrt(2))


def rated_clip_voltage(*, power_w: Any, load_ohm: Any) -> Floats:
    """Return the rms of the largest clean sine of an amplifier rated `power_w` into `load_ohm` at 1 % THD.

    sqrt(P R) is the rms of a sine clipped to 1 % THD (ANSI/CTA-2006-D), 0.2016 dB above the one that just
    reaches the ceiling (closed form, `clipping`). Valid for an honest rating and a ceiling that is hard; where the
    rating's THD+N is noise or crossover distortion, the clean sine is up to 0.2 dB larger.
    """
    return np.asarray(voltage_for_power(power_w=power_w, resistance_ohm=load_ohm) / _rms_at_rated_thd())


def rail_scaling(*, supply_v: Any, rated_at_v: Any, regulated: bool) -> Floats:
    """Return the ceiling over the rated one: supply/rated_at, or 1 when the amplifier's own supply is regulated.

    An unregulated converter multiplies its supply by a fixed ratio of turns: 12.6 V re 14.4 V is -1.1598 dB. Common
    practice, no published source; voltage drops that don't scale (diodes, saturation) are neglected. Valid within the
    amplifier's supply range.
    """
    ratio = np.asarray(supply_v, dtype=np.float64) / np.asarray(rated_at_v, dtype=np.float64)
    return np.asarray(np.ones_like(ratio) if regulated else ratio)


def loaded_ceiling(*, ratings_load_ohm: Any, ratings_v: Any, load_ohm: Any) -> Floats:
    """Return an amplifier's voltage ceiling into a real load.

    Between rated loads it is linear in conductance 1/R (within 0.25 % of a constant internal resistance where two
    ratings differ by 10 %); above the highest rated load it is that load's ceiling; below the lowest it is limited by
    that load's current: V = V_lowest R/R_lowest. Common practice, no published source; this says nothing about whether
    an amplifier survives a load below its lowest rated one.

    Parameters
    ----------
    ratings_load_ohm : shape (..., ratings), distinct along the last axis; ValueError otherwise.
    ratings_v : shape (..., ratings).
    load_ohm : shape (...), infinite for no load.
    """
    loads, volts = np.broadcast_arrays(
        np.asarray(ratings_load_ohm, dtype=np.float64), np.asarray(ratings_v, dtype=np.float64)
    )
    order = np.argsort(loads, axis=-1)
    loads, volts = np.take_along_axis(loads, order, -1), np.take_along_axis(volts, order, -1)
    if np.any(np.diff(loads, axis=-1) == 0):
        raise ValueError("an amplifier is rated once for each load: two ratings have the same load")
    with np.errstate(divide="ignore"):
        siemens = 1 / np.asarray(load_ohm, dtype=np.float64)
    ceiling = np.array(np.broadcast_to(volts[..., -1], np.broadcast_shapes(volts.shape[:-1], siemens.shape)))
    for i in range(loads.shape[-1] - 1):
        low, high = 1 / loads[..., i + 1], 1 / loads[..., i]
        share = np.clip((siemens - low) / (high - low), 0, 1)
        between = volts[..., i + 1] + share * (volts[..., i] - volts[..., i + 1])
        ceiling = np.where((siemens > low) & (siemens <= high), between, ceiling)
    over = siemens * loads[..., 0]
    return np.asarray(np.where(over > 1, volts[..., 0] / np.maximum(over, 1.0), ceiling))
