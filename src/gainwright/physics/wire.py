"""Copper conductors: gauge, resistance, and the ampacity after one published table.

A conductor that is too thin, or not fused near the battery for its ampacity, can burn the vehicle. The table here
is a stated reference for boats, not a rule for vehicles; the maker's data and local regulations take precedence.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

COPPER_RESISTIVITY_OHM_M = 1 / 58e6
"""Annealed copper at 20 degrees C: 1/58 ohm mm2/m (IEC 60028)."""
COPPER_TEMPERATURE_COEFFICIENT = 0.00393
"""Per kelvin, re 20 degrees C (IEC 60028; clause from memory)."""

_INSULATIONS_C = (60, 75, 80, 90, 105)
_BOAT_AMPACITY_A = {
    18: (10, 10, 15, 20, 20),
    16: (15, 15, 20, 25, 25),
    14: (20, 20, 25, 30, 35),
    12: (25, 25, 35, 40, 45),
    10: (40, 40, 50, 55, 60),
    8: (55, 65, 70, 70, 80),
    6: (80, 95, 100, 100, 120),
    4: (105, 125, 130, 135, 160),
    3: (120, 145, 150, 155, 180),
    2: (140, 170, 175, 180, 210),
    1: (165, 195, 210, 210, 245),
    0: (195, 230, 245, 245, 285),
    -1: (225, 265, 285, 285, 330),
    -2: (260, 310, 330, 330, 385),
    -3: (300, 360, 385, 385, 445),
}
ENGINE_SPACE_FACTOR_105_C = 0.85
"""Note 1 of the same table: 50 degrees C around insulation rated 105 degrees C."""


def awg_diameter_m(*, gauge: Any) -> Floats:
    """Return the diameter of a solid conductor of an American wire gauge, metres: 0.127 mm x 92^((36 - n)/39).

    ASTM B258. 1/0 is n = 0, 2/0 is -1, 3/0 is -2, 4/0 is -3. Valid from 4/0 to 36.
    """
    return np.asarray(0.127e-3 * 92 ** ((36 - np.asarray(gauge, dtype=np.float64)) / 39))


def awg_area_m2(*, gauge: Any) -> Floats:
    """Return the area of copper of an American wire gauge, square metres: pi d^2/4.

    ASTM B258, gauge as in `awg_diameter_m`. Stranded conductors come close to it; wire sold by outer diameter may not.
    """
    return np.asarray(np.pi / 4 * awg_diameter_m(gauge=gauge) ** 2)


def copper_temperature_factor(*, temperature_c: Any) -> Floats:
    """Return the resistance of copper over that at 20 degrees C: 1 + 0.00393 (t - 20).

    IEC 60028; IEC 60228 rounds it to (230 + t)/250, which is 0.3 % more at 75 degrees C. Valid from -50 to 200 degrees
    C. Holds for a voice coil as well: at constant voltage a coil at 200 degrees C takes 2.32 dB less power, and its
    speaker, an upper bound where the impedance is nearly the coil's resistance, gives 4.65 dB less sound.
    """
    return np.asarray(1 + COPPER_TEMPERATURE_COEFFICIENT * (np.asarray(temperature_c, dtype=np.float64) - 20))


def wire_resistance(*, length_m: Any, area_m2: Any, temperature_c: Any) -> Floats:
    """Return the resistance of a length of copper, ohm: rho l/A times the temperature factor.

    IEC 60028: 1/58 ohm mm2/m at 20 degrees C. Valid for direct current; skin effect adds less than 5 % at 20 kHz up to
    1 mm2 and at 8 kHz up to 2.5 mm2. The length is that of the conductor: out and back is twice the run.
    """
    length, area = np.asarray(length_m, dtype=np.float64), np.asarray(area_m2, dtype=np.float64)
    return np.asarray(COPPER_RESISTIVITY_OHM_M * length / area * copper_temperature_factor(temperature_c=temperature_c))


def boat_ampacity_a(*, gauge: int, insulation_c: int, engine_space: bool) -> float:
    """Return the current that 33 CFR 183.425 allows a stranded copper conductor on a boat, amperes.

    Table 5: 30 degrees C around it, insulation rated 60, 75, 80, 90 or 105 degrees C; in engine spaces (50 degrees C)
    times 0.85 with 105 degrees C insulation (note 1). A stated reference, not a rule for vehicles; gauge as in
    `awg_diameter_m`. ValueError for a gauge or insulation not in the table, and for engine spaces with other
    insulation, whose smaller factors are not included here.
    """
    if gauge not in _BOAT_AMPACITY_A or insulation_c not in _INSULATIONS_C:
        raise ValueError(f"33 CFR 183.425 Table 5 has no gauge {gauge} with insulation of {insulation_c} degrees C")
    if engine_space and insulation_c != 105:
        raise ValueError(f"there is no factor here for an engine space with insulation of {insulation_c} degrees C")
    allowed = _BOAT_AMPACITY_A[gauge][_INSULATIONS_C.index(insulation_c)]
    return allowed * (ENGINE_SPACE_FACTOR_105_C if engine_space else 1.0)
