"""A fuse protects the wire behind it: how long a conductor withstands a short circuit, and how soon a fuse opens it.

Local codes, the maker's manuals and licensed practice take precedence; the main fuse is close to the battery.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

PVC_FINAL_C = 160.0
"""PVC insulation after a short circuit, up to 300 mm2 (IEC 60364-5-54, table A.54.2)."""
_COPPER_CONSTANT = 226.0
_COPPER_BETA_C = 234.5

_BLADE_TIMES = ((1.35, 0.75, 600.0), (1.6, 0.25, 50.0), (2.0, 0.15, 5.0), (3.5, 0.08, 0.5), (6.0, 0.0, 0.15))
_LARGE_BLADE_TIMES = ((1.35, 60.0, 1800.0), (2.0, 2.0, 50.0), (3.5, 0.2, 7.0), (6.0, 0.04, 1.0))
_BLADE_A, _LARGE_BLADE_A = (1.0, 40.0), (20.0, 80.0)
_HELD = 1.1
"""Multiple of its rating that a blade fuse holds for at least 100 h (the same data sheets)."""
BLADE_BREAKS_A = 1000.0
"""Current that a blade fuse breaks safely (ISO 8820-3:2015, scope)."""


def short_circuit_factor(*, initial_c: Any, final_c: Any) -> Floats:
    """Return k of a copper conductor, A sqrt(s)/mm2: 226 sqrt(ln((234.5 + tf)/(234.5 + ti))).

    IEC 60364-5-54, annex A: 143 from 30 to 160 degrees C, 176 from 30 to 250, as printed in its table A.54.2; 115 from
    70 to 160 degrees C (table A.54.4). The end temperatures are those which the insulation withstands.
    """
    initial, final = np.asarray(initial_c, dtype=np.float64), np.asarray(final_c, dtype=np.float64)
    return np.asarray(_COPPER_CONSTANT * np.sqrt(np.log((_COPPER_BETA_C + final) / (_COPPER_BETA_C + initial))))


def withstands_s(*, area_m2: Any, current_a: Any, initial_c: Any, final_c: Any) -> Floats:
    """Return how long a copper conductor withstands a short-circuit current, seconds: k^2 S^2/I^2.

    IEC 60364-4-43, clause 434.5.2, with k as above: no heat leaves the conductor, which holds up to 5 s; longer times
    are lower bounds.
    """
    k = short_circuit_factor(initial_c=initial_c, final_c=final_c)
    area_mm2 = np.asarray(area_m2, dtype=np.float64) * 1e6
    return np.asarray((k * area_mm2 / np.asarray(current_a, dtype=np.float64)) ** 2)


def blade_fuse_opens_s(*, rating_a: float, current_a: float) -> tuple[float, float] | None:
    """Return the least and the longest time in which a blade fuse opens at a steady current, seconds; (inf, inf) below 110 %.

    The limits of blade fuses after ISO 8820-3, 1 to 40 A (type C), and large ones, 20 to 80 A (type E), as makers' data sheets
    print them for 135, 160, 200, 350 and 600 % of the rating; read where three public documents quote them, not in the
    standard. A fuse opens no later at more current, so between two of these currents the longest time is that of the lower and the
    least that of the higher one: nothing is interpolated. Above 600 % what melts the fuse, I^2 t, is at most what it is there
    (adiabatic; the arc is left out). Where both kinds are sold with a rating, the wider limits of the two.
    From 110 to 135 % the longest time isn't limited: infinite.

    None for other ratings, and for more current than a blade fuse breaks: no source gives those.
    """
    kinds = ((_BLADE_A, _BLADE_TIMES), (_LARGE_BLADE_A, _LARGE_BLADE_TIMES))
    tables = [times for (low, high), times in kinds if low <= rating_a <= high]
    if not tables or current_a > BLADE_BREAKS_A:
        return None
    multiple = current_a / rating_a
    if multiple < _HELD:
        return np.inf, np.inf
    least = min(next((least for at, least, _ in times if at >= multiple), 0.0) for times in tables)
    longest = max(next((most for at, _, most in reversed(times) if at <= multiple), np.inf) for times in tables)
    return least, longest / max(multiple / _BLADE_TIMES[-1][0], 1.0) ** 2
