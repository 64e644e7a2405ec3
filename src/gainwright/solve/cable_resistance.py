"""The resistance of a supply cable there and back, with the joints and the way through the body."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from gainwright import physics

if TYPE_CHECKING:
    from gainwright.model import SupplyCable, WireSize

WARM_C = 50.0
"""Temperature of a supply cable at work (common practice, no published source)."""
Assumed = Literal["least", "usual", "most"]
BODY_OHM: dict[Assumed, float] = {"least": 0.0005, "usual": 0.002, "most": 0.005}
"""The way back through the body with its two joints (common practice, no published source)."""
JOINTS_OHM: dict[Assumed, float] = {"least": 0.0005, "usual": 0.001, "most": 0.002}
"""Two terminals and a fuse holder (common practice, no published source)."""
ALUMINIUM_OHM_M = 0.028264e-6
"""Hard-drawn aluminium at 20 degrees C (IEC 60889; from memory)."""
CLAD_OHM_M = 0.02743e-6
"""Copper-clad aluminium with 10 % copper by volume (ASTM B566, class 10A; from memory)."""
RE_COPPER = {
    "copper": 1.0,
    "copper_clad_aluminium": CLAD_OHM_M / physics.COPPER_RESISTIVITY_OHM_M,
    "aluminium": ALUMINIUM_OHM_M / physics.COPPER_RESISTIVITY_OHM_M,
}
"""Resistivity of each metal over copper's."""
ASSUMED_LENGTH_M = 5.0
"""From the battery in front to a boot (common practice, no published source)."""


def area_m2(size: WireSize | None) -> float | None:
    """Return the area of metal of a wire, square metres; None when it isn't known."""
    if size is None:
        return None
    return size.area_m2 if size.gauge is None else float(physics.awg_area_m2(gauge=size.gauge))


def cable_ohm(cable: SupplyCable, *, temperature_c: float = WARM_C, assumed: Assumed = "usual") -> float:
    """Return the resistance of a cable there and back, ohm; without a size only that of its joints and its way back.

    `wire_resistance`; aluminium has nearly copper's temperature coefficient (IEC 60889).
    """
    area = area_m2(cable.wire)
    length = cable.length.nominal if cable.length is not None and cable.length.known else ASSUMED_LENGTH_M
    metal = 0.0
    if area is not None:
        copper = physics.wire_resistance(length_m=length, area_m2=area, temperature_c=temperature_c)
        metal = RE_COPPER[cable.material] * float(copper)
    return (2 * metal if cable.back == "wire" else metal + BODY_OHM[assumed]) + JOINTS_OHM[assumed]
