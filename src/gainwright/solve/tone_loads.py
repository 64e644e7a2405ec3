"""What a steady tone does to a speaker: how far its cone travels, and for how long and how often it may play."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright import physics

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.solve.speaker_units import SpeakerUnit

    Floats = npt.NDArray[np.float64]

HEAT_SHARE = 0.5
"""Share of its limit to which a tone may heat a coil (common practice, no published source)."""
SURE = 0.975
"""Quantile of the draws that verdicts use."""


@dataclass(frozen=True, slots=True)
class ToneLoad:
    """What a steady tone does to one unit of a speaker, each with 97.5 % certainty.

    Attributes
    ----------
    travel_m, xmax_m : largest travel to one side, and the linear one; None where they aren't known.
    seconds : how long it may play from cold so that the coil stays under half of its limit; infinite when it may play without end.
    share_on : largest share of the time when it is played again and again for as long as it may, at most `longest_s`.
    """

    travel_m: float | None
    xmax_m: float | None
    seconds: float
    share_on: float

    @property
    def past_xmax(self) -> bool:
        """Whether its travel may pass Xmax."""
        return self.xmax_m is not None and self.travel_m is not None and self.travel_m > self.xmax_m


LONGEST_S = 60.0
KEPT_BACK = 0.9
"""Share of the time until the limit that a tone may play."""


def tone_load(unit: SpeakerUnit, *, volts: float, tone_hz: float, longest_s: float = LONGEST_S) -> ToneLoad:
    """Return what a tone of `volts` rms on the side that feeds the speaker does to one of its units.

    Parameters
    ----------
    longest_s : how long it plays at a time, if its coil bears it.
    """
    each_v = volts * unit.share
    if unit.driver is None:
        # the lowest modulus is not below the coil's own resistance (IEC 60268-5: nor below 80 % of nominal)
        impedance: Floats = unit.re_ohm
        travel = None
    else:
        impedance = np.abs(physics.driver_impedance(driver=unit.driver, box=unit.box, frequency_hz=tone_hz))
        travel = physics.cone_travel(driver=unit.driver, box=unit.box, voltage_v=each_v, frequency_hz=tone_hz)
    watts = unit.re_ohm * (each_v / impedance) ** 2
    seconds, share = (np.inf, 1.0) if unit.heat is None else _heat(unit, unit.heat, watts, longest_s)
    return ToneLoad(None if travel is None else float(np.quantile(travel, SURE)), unit.xmax_m, seconds, share)


def _heat(unit: SpeakerUnit, heat: physics.CoilHeat, watts: Floats, longest_s: float) -> tuple[float, float]:
    allowed = HEAT_SHARE * unit.limit_k
    until = physics.seconds_to_rise(heat=heat, power_w=watts, rise_k=allowed)
    seconds = KEPT_BACK * float(np.quantile(until, 1 - SURE, method="lower"))
    share = physics.share_on(heat=heat, power_w=watts, rise_k=allowed, seconds_on=min(seconds, longest_s))
    return seconds, float(np.quantile(share, 1 - SURE, method="lower"))
