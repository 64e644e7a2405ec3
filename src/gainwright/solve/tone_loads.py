"""What a steady tone does to a speaker: current, power, travel, heat, and for how long and how often it may play."""

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
    """A steady tone at one unit of a speaker.

    Attributes
    ----------
    tone_hz, volts : the tone, and its rms across one unit.
    impedance_ohm, current_a : magnitude of the unit's impedance there, and the current, at the middle of the draws.
    watts : power in the cold coil, Re times current squared; `watts_high` with 97.5 % certainty not more.
    travel_m, travel_high_m : peak travel to one side; None where the unit's parameters aren't known.
    xmax_m : linear travel, None if unknown.
    rise_share : steady rise of the coil over what it stands; None without a rating.
    seconds : how long it may play from cold so that the coil stays under half of what it stands; infinite for ever.
    share_on : largest share of the time when it is played again and again for as long as it may, at most `longest_s`.
    """

    tone_hz: float
    volts: float
    impedance_ohm: float
    current_a: float
    watts: float
    watts_high: float
    travel_m: float | None
    travel_high_m: float | None
    xmax_m: float | None
    rise_share: float | None
    seconds: float
    share_on: float

    @property
    def past_xmax(self) -> bool:
        """Whether its travel may pass Xmax."""
        return self.xmax_m is not None and self.travel_high_m is not None and self.travel_high_m > self.xmax_m


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
    rise, seconds, share = None, np.inf, 1.0
    if unit.heat is not None:
        rise, seconds, share = _heat(unit, unit.heat, watts, longest_s)
    return ToneLoad(
        tone_hz,
        each_v,
        float(np.median(impedance)),
        float(np.median(each_v / impedance)),
        float(np.median(watts)),
        float(np.quantile(watts, SURE)),
        None if travel is None else float(np.median(travel)),
        None if travel is None else float(np.quantile(travel, SURE)),
        unit.xmax_m,
        rise,
        seconds,
        share,
    )


def _heat(unit: SpeakerUnit, heat: physics.CoilHeat, watts: Floats, longest_s: float) -> tuple[float, float, float]:
    steady = physics.steady_rise(heat=heat, cold_power_w=watts)
    allowed = HEAT_SHARE * unit.limit_k
    until = physics.seconds_to_rise(heat=heat, power_w=watts, rise_k=allowed)
    seconds = KEPT_BACK * float(np.quantile(until, 1 - SURE, method="lower"))
    on = min(seconds, longest_s)
    share = physics.share_on(heat=heat, power_w=watts, rise_k=allowed, seconds_on=on)
    return (
        float(np.median(steady / unit.limit_k)),
        seconds,
        float(np.quantile(share, 1 - SURE, method="lower")),
    )
