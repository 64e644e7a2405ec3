"""What an amplifier takes from its supply for a given output."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright import physics

if TYPE_CHECKING:
    from gainwright.model import Amplifier

CONVERTER_EFFICIENCY = 0.85
"""Of a class AB amplifier's converter (common practice, no published source)."""
SWITCHING_EFFICIENCY = 0.80
"""Of a class D amplifier as a whole, converter included (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class Voltage:
    """An amplifier's output over some time: the mean of its square, and of its magnitude; volts."""

    mean_square_v2: float
    mean_abs_v: float


def sine(volts: float) -> Voltage:
    """Return a steady tone of `volts` rms."""
    return Voltage(volts**2, physics.SINE_MEAN_ABS * volts)


def amplifier_draw_w(stage: Amplifier, voltage: Voltage, *, load_ohm: float, rail_v: float) -> float:
    """Return what one side of an amplifier takes from the supply for its output, without idle, W.

    `class_d_power` for class D; else `class_b_power` over the efficiency of its converter. One whose class isn't given is
    taken as class AB, which draws more.
    """
    given = stage.efficiency.nominal if stage.efficiency is not None and stage.efficiency.known else None
    if stage.output_class == "D":
        return float(
            physics.class_d_power(
                mean_square_v2=voltage.mean_square_v2, load_ohm=load_ohm, efficiency=given or SWITCHING_EFFICIENCY
            )
        )
    rails = physics.class_b_power(mean_abs_v=voltage.mean_abs_v, rail_v=rail_v, load_ohm=load_ohm)
    return float(rails) / (given or CONVERTER_EFFICIENCY)
