"""How hot a voice coil gets: two heat capacities in series, and copper that takes less power as it warms.

Heat goes from the coil to the magnet and from the magnet to the air; each path has a thermal resistance and a time
constant. Air pumped by a moving cone cools a coil besides; it is left out, so computed temperatures are upper bounds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.physics.wire import COPPER_TEMPERATURE_COEFFICIENT

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

REFERENCE_C = 20.0
"""Temperature of the stated resistance of copper (IEC 60028)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CoilHeat:
    """The thermal path out of a voice coil; every field broadcasts with the others.

    Attributes
    ----------
    coil_kelvin_per_watt, magnet_kelvin_per_watt : thermal resistance from coil to magnet, and from magnet to air, kelvins per watt.
    coil_s, magnet_s : their time constants.
    """

    coil_kelvin_per_watt: Any
    magnet_kelvin_per_watt: Any
    coil_s: Any
    magnet_s: Any


def coil_rise(*, heat: CoilHeat, power_w: Any, seconds: Any) -> Floats:
    """Return how much warmer than the air a cold coil is after steady power in it, kelvins.

    Two stages in series (Foster form): P (Rc (1 - exp(-t/tc)) + Rm (1 - exp(-t/tm))). `power_w` is what the coil
    itself takes at that time; `hot_coil_power` gives it for a steady voltage.
    """
    t = np.asarray(seconds, dtype=np.float64)
    inner = np.asarray(heat.coil_kelvin_per_watt) * -np.expm1(-t / np.asarray(heat.coil_s))
    outer = np.asarray(heat.magnet_kelvin_per_watt) * -np.expm1(-t / np.asarray(heat.magnet_s))
    return np.asarray(np.asarray(power_w, dtype=np.float64) * (inner + outer))


def steady_rise(*, heat: CoilHeat, cold_power_w: Any, ambient_c: Any = REFERENCE_C) -> Floats:
    """Return how much warmer than the air a coil ends up on a steady voltage, kelvins.

    A warm coil takes less: T = R P/(1 + a T) with R both thermal resistances, P the power of the cold coil and a
    copper's coefficient, so a T^2 + T - R P = 0. `cold_power_w` is for copper at `ambient_c`.
    """
    a = _coefficient(ambient_c)
    drive = (np.asarray(heat.coil_kelvin_per_watt) + np.asarray(heat.magnet_kelvin_per_watt)) * np.asarray(
        cold_power_w, dtype=np.float64
    )
    return np.asarray((np.sqrt(1 + 4 * a * drive) - 1) / (2 * a))


def stretch_rise(*, heat: CoilHeat, seconds: Any, energy_j: Any) -> Floats:
    """Return how warm a coil is at most after a programme of which only its loudest stretches are known, kelvins.

    The rise is the integral of the power times a response that falls with the time since, so by partial integration it
    is that of the energy of the last s seconds times the fall of the response: largest where each such stretch holds the
    most that it can. Between the given stretches the energy is taken as linear. The coil takes the same power warm as
    cold; `hottest_rise` corrects that.

    Parameters
    ----------
    heat : of scalars, or fields of shape (coils,).
    seconds : shape (stretches,), increasing, above 0; after the last the coil is taken as settled.
    energy_j : most energy in a stretch of that length, shape (..., stretches); the rise has shape (..., coils).
    """
    length, energy = np.asarray(seconds, dtype=np.float64), np.asarray(energy_j, dtype=np.float64)
    power = np.diff(energy, axis=-1, prepend=0.0) / np.diff(length, prepend=0.0)
    fields = (heat.coil_kelvin_per_watt, heat.magnet_kelvin_per_watt, heat.coil_s, heat.magnet_s)
    each = CoilHeat(**dict(zip(CoilHeat.__slots__, np.atleast_1d(*fields), strict=True)))
    steps = np.diff(coil_rise(heat=each, power_w=1.0, seconds=length[:, None]), axis=0, prepend=0.0)
    return np.asarray(power @ steps)


def hottest_rise(*, heat: CoilHeat, cold_rise_k: Any, mean_w: Any, ambient_c: Any = REFERENCE_C) -> Floats:
    """Return the highest rise of a coil under a programme played again and again, kelvins.

    `steady_rise` of its mean power, and what its loudest stretches add to it, which a coil of that temperature takes.

    Parameters
    ----------
    cold_rise_k : `stretch_rise` of the programme, as if the coil stayed cold.
    mean_w : its mean power in the cold coil.
    """
    settled = steady_rise(heat=heat, cold_power_w=mean_w, ambient_c=ambient_c)
    way = np.asarray(heat.coil_kelvin_per_watt) + np.asarray(heat.magnet_kelvin_per_watt)
    more = np.maximum(np.asarray(cold_rise_k, dtype=np.float64) - way * np.asarray(mean_w, dtype=np.float64), 0.0)
    return np.asarray(settled + more / (1 + _coefficient(ambient_c) * settled))


def compression_db(*, rise_k: Any, ambient_c: Any = REFERENCE_C) -> Floats:
    """Return the level that a warm coil loses where its resistance is nearly all of the impedance, dB: 20 lg(1 + a T).

    IEC 60028 for copper; the upper bound of power compression.
    """
    return np.asarray(20 * np.log10(1 + _coefficient(ambient_c) * np.asarray(rise_k, dtype=np.float64)))


def seconds_to_rise(*, heat: CoilHeat, power_w: Any, rise_k: Any) -> Floats:
    """Return how long a cold coil takes to get warmer by `rise_k` at steady power, seconds; infinite if it never does.

    By bisection of `coil_rise`, which grows with time, to 1 part in 1e9. The power of the cold coil gives a lower bound
    of the time, since a warm one takes less.
    """
    power, rise = np.broadcast_arrays(np.asarray(power_w, dtype=np.float64), np.asarray(rise_k, dtype=np.float64))
    final = power * (np.asarray(heat.coil_kelvin_per_watt) + np.asarray(heat.magnet_kelvin_per_watt))
    never = final <= rise
    low = np.zeros(np.broadcast(final, rise).shape)
    # both parts are within 1e-16 of their ends there
    high = np.full(low.shape, 40.0) * np.maximum(np.asarray(heat.coil_s), np.asarray(heat.magnet_s))
    for _ in range(64):
        middle = (low + high) / 2
        under = coil_rise(heat=heat, power_w=power, seconds=middle) < rise
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return np.asarray(np.where(never, np.inf, high))


def share_on(*, heat: CoilHeat, power_w: Any, rise_k: Any, seconds_on: Any) -> Floats:
    """Return the largest share of the time that a tone of `seconds_on` may play again and again, 0 .. 1.

    In the periodic steady state of a linear two-stage thermal path, each stage peaks at the end of the tone at
    P R (1 - exp(-on/t))/(1 - exp(-period/t)); by bisection over the period until both together reach `rise_k`.
    1 where it may play without a break; 0 where even one tone is too long.
    """
    on = np.asarray(seconds_on, dtype=np.float64)
    power, rise = np.asarray(power_w, dtype=np.float64), np.asarray(rise_k, dtype=np.float64)
    once = coil_rise(heat=heat, power_w=power, seconds=on)

    def peak(share: Floats) -> Floats:
        period = on / share
        stages = ((heat.coil_kelvin_per_watt, heat.coil_s), (heat.magnet_kelvin_per_watt, heat.magnet_s))
        return np.asarray(
            sum(
                power * np.asarray(r) * np.expm1(-on / np.asarray(t)) / np.expm1(-period / np.asarray(t))
                for r, t in stages
            )
        )

    low, high = np.full(np.shape(once), 1e-6), np.ones(np.shape(once))
    for _ in range(50):
        middle = (low + high) / 2
        fits = peak(middle) <= rise
        low, high = np.where(fits, middle, low), np.where(fits, high, middle)
    whole = power * (np.asarray(heat.coil_kelvin_per_watt) + np.asarray(heat.magnet_kelvin_per_watt)) <= rise
    return np.asarray(np.where(whole, 1.0, np.where(once > rise, 0.0, low)))


def _coefficient(ambient_c: Any) -> Floats:
    """Return copper's coefficient re its resistance at `ambient_c` instead of 20 degrees C."""
    warm = 1 + COPPER_TEMPERATURE_COEFFICIENT * (np.asarray(ambient_c, dtype=np.float64) - REFERENCE_C)
    return np.asarray(COPPER_TEMPERATURE_COEFFICIENT / warm)
