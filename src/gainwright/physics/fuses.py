"""A fuse protects the wire behind it: how long a conductor withstands a short circuit.

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
