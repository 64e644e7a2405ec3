"""Sound pressure level of a speaker, and the speed of sound."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

SENSITIVITY_VOLTAGE_V = 2.83
"""1 W in 8 ohm, rounded as on data sheets."""


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


def speed_of_sound(*, temperature_c: Any) -> Floats:
    """Return the speed of sound in dry air, m/s: 331.3 sqrt(1 + t/273.15).

    Ideal gas; ISO 9613-1 gives 343.2 m/s at 20 degrees C. Valid from -40 to 60 degrees C; humid air is up to 0.4 %
    faster.
    """
    return np.asarray(331.3 * np.sqrt(1 + np.asarray(temperature_c, dtype=np.float64) / 273.15))
