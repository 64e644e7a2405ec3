"""What an amplifier draws from its supply for a signal, and the voltage that is left for it at the end of a cable."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

GAUSSIAN_MEAN_ABS = float(np.sqrt(2 / np.pi))
"""Mean of |v| over the rms of v for a Gaussian programme; a sine has 2 sqrt(2)/pi = 0.900, a square wave 1."""
SINE_MEAN_ABS = float(2 * np.sqrt(2) / np.pi)


def class_b_power(*, mean_abs_v: Any, rail_v: Any, load_ohm: Any) -> Floats:
    """Return what a class B output stage takes from its rails, watts: rail E|v|/R.

    Each half period is taken from one of two rails of `rail_v`: current E|v|/R (closed form). It is an upper bound for
    stages whose rails follow the signal (class G, H), and without the quiescent current.
    """
    current = np.asarray(mean_abs_v, dtype=np.float64) / np.asarray(load_ohm, dtype=np.float64)
    return np.asarray(np.asarray(rail_v, dtype=np.float64) * current)


def class_d_power(*, mean_square_v2: Any, load_ohm: Any, efficiency: Any) -> Floats:
    """Return what a switching output stage takes, watts: E[v^2]/(R efficiency).

    Conservation of energy; without what it takes at idle. ValueError for an efficiency outside 0 .. 1.
    """
    share = np.asarray(efficiency, dtype=np.float64)
    if np.any((share <= 0) | (share > 1)):
        raise ValueError(f"efficiency is a ratio above 0 and up to 1, not {efficiency}")
    return np.asarray(np.asarray(mean_square_v2, dtype=np.float64) / (np.asarray(load_ohm, dtype=np.float64) * share))


def regulated_voltage(*, source_v: Any, resistance_ohm: Any, power_w: Any) -> Floats:
    """Return the voltage at a load that takes constant power over a resistance, volts: (E + sqrt(E^2 - 4 R P))/2.

    Closed form of V = E - R P/V, the upper root, which is where a supply that starts unloaded stays. NaN beyond E^2/(4
    R), the largest power that gets through at all: the voltage collapses.
    """
    source = np.asarray(source_v, dtype=np.float64)
    left = source**2 - 4 * np.asarray(resistance_ohm, dtype=np.float64) * np.asarray(power_w, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        return np.asarray((source + np.sqrt(np.where(left < 0, np.nan, left))) / 2)


def unregulated_voltage(*, source_v: Any, resistance_ohm: Any, power_w: Any, rated_v: Any) -> Floats:
    """Return the voltage at a load that draws like a constant resistance, volts: E Rl/(Rl + R) with Rl = Vr^2/P.

    An unregulated amplifier at its ceiling: its rails, and so its output, follow the supply, its current is V/Rl.
    `power_w` is what it takes at `rated_v`.
    """
    taken = np.asarray(resistance_ohm, dtype=np.float64) * np.asarray(power_w, dtype=np.float64)
    return np.asarray(np.asarray(source_v, dtype=np.float64) / (1 + taken / np.asarray(rated_v, dtype=np.float64) ** 2))
