"""Sound pressure level of a speaker, and the speed of sound."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

SENSITIVITY_VOLTAGE_V = 2.83
"""1 W in 8 ohm, rounded as on data sheets."""
RHO_C = 413.3
"""Characteristic impedance of air at 20 degrees C and 101.325 kPa, N s/m^3: 1.2041 kg/m^3 x 343.2 m/s."""


def speaker_spl(
    *,
    sensitivity_db: Any,
    reference: Literal["2.83 V", "1 W"],
    voltage_v: Any,
    impedance_ohm: Any,
    distance_m: Any,
) -> Floats:
    """Return the sound pressure level of a speaker, dB re 20 uPa.

    For a sensitivity at 1 m for 2.83 V: L + 20 lg(V/2.83) - 20 lg(r); for 1 W: L + 10 lg(V^2/Z) - 20 lg(r)
    (IEC 60268-5; clause from memory). Valid in the free field, far from the speaker and within its linear range: a cabin
    adds gain at low frequencies and a hot coil reduces it. ValueError for another reference.
    """
    volts = np.asarray(voltage_v, dtype=np.float64)
    if reference == "2.83 V":
        ratio = np.asarray(volts / SENSITIVITY_VOLTAGE_V)
    elif reference == "1 W":
        ratio = np.asarray(volts / np.sqrt(np.asarray(impedance_ohm, dtype=np.float64)))
    else:
        raise ValueError(f"a sensitivity is for 2.83 V or 1 W, not {reference!r}")
    with np.errstate(divide="ignore"):
        above = 20 * np.log10(ratio / np.asarray(distance_m, dtype=np.float64))
    return np.asarray(np.asarray(sensitivity_db, dtype=np.float64) + above)


def sound_level_of_power_db(*, power_w: Any, distance_m: Any) -> Floats:
    """Return the sound pressure level of a sound power that spreads evenly over a half space, dB re 20 uPa.

    L = 10 lg(W/1 pW) - 10 lg(2 pi r^2/1 m^2) + 10 lg(rho c/400 N s/m^3) (ISO 3744, measurement surface of a hemisphere; clause
    from memory), rho c of air at 20 degrees C. 1 W at 1 m is 112.2 dB: no speaker that radiates evenly is louder for 1 W.
    """
    area = 2 * np.pi * np.asarray(distance_m, dtype=np.float64) ** 2
    with np.errstate(divide="ignore"):
        return np.asarray(10 * np.log10(np.asarray(power_w, dtype=np.float64) / 1e-12 / area * RHO_C / 400))


def cabin_pressure_ratio(*, frequency_hz: Any, distance_m: Any, volume_m3: Any) -> Floats:
    """Return the pressure of a source in a small closed space over its pressure in the open at a distance: c^2 2 pi r/(w^2 V).

    In a closed rigid space far smaller than the wavelength p = rho c^2 U/(w V), before a large baffle in the open p = rho w
    U/(2 pi r), U the volume velocity of the cone (Beranek, Acoustics, 1954; chapter from memory). Without leaks and
    losses, so more than a vehicle has: an upper bound. Valid below the first resonance of the space.
    """
    angular = 2 * np.pi * np.asarray(frequency_hz, dtype=np.float64)
    open_air = 2 * np.pi * np.asarray(distance_m, dtype=np.float64)
    sound_m_s = float(speed_of_sound(temperature_c=20.0))
    return np.asarray(sound_m_s**2 * open_air / (angular**2 * np.asarray(volume_m3, dtype=np.float64)))


def speed_of_sound(*, temperature_c: Any) -> Floats:
    """Return the speed of sound in dry air, m/s: 331.3 sqrt(1 + t/273.15).

    Ideal gas; ISO 9613-1 gives 343.2 m/s at 20 degrees C. Valid from -40 to 60 degrees C; humid air is up to 0.4 %
    faster.
    """
    return np.asarray(331.3 * np.sqrt(1 + np.asarray(temperature_c, dtype=np.float64) / 273.15))
