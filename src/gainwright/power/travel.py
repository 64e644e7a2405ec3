"""How far the music moves a cone: an estimate from its worst moments, and a steady tone at its highest peak."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from gainwright import physics

if TYPE_CHECKING:
    from gainwright.model import FilterSetting
    from gainwright.plan import AmplifierBand
    from gainwright.solve import SpeakerUnit

    Floats = np.ndarray

LOWEST_HZ, HIGHEST_HZ, POINTS = 15.0, 20_000.0, 240
CREST, SHORT_CREST = 3.0, 2.0
"""Largest over rms of the travel: three standard deviations in a worst second; in 100 ms, which hold few periods of bass,
between a tone's 1.4 and that (common practice, no published source)."""
SURE = 0.975


@dataclass(frozen=True, slots=True)
class ConeTravel:
    """How far a cone goes for the voltage of the side that feeds it.

    Attributes
    ----------
    rms_per_volt : rms travel for 1 V rms of pink noise through the band's filters, a value for each draw.
    hz, most_per_volt : frequencies, and the peak travel for a tone of 1 V peak there with 97.5 % certainty.
    passed : what the band's filters pass of it, as a ratio.
    """

    rms_per_volt: Floats
    hz: Floats
    most_per_volt: Floats
    passed: Floats

    def estimate_m(self, worst_1s_v2: Floats | float, worst_100ms_v2: Floats | float) -> Floats:
        """Return the largest travel, m, shape (..., draws), from the mean squares of the worst second and 100 ms, shape (...)."""
        volts = np.maximum(CREST * np.sqrt(worst_1s_v2), SHORT_CREST * np.sqrt(worst_100ms_v2))
        return np.asarray(volts[..., None] * self.rms_per_volt)

    def bound(self, full_scale_v: float, peak_v: float) -> tuple[float, float]:
        """Return the travel of a steady tone, m, and its frequency, where it goes farthest.

        Full scale goes through the filters before it; no more than `peak_v` comes out of the amplifier.
        """
        most = self.most_per_volt * np.minimum(full_scale_v * self.passed, peak_v)
        top = int(np.argmax(most))
        return float(most[top]), float(self.hz[top])


def cone_travel_of(unit: SpeakerUnit, band: AmplifierBand, *, share: float) -> ConeTravel | None:
    """Return how far a unit's cone goes, None while parameters of its circuit are missing.

    Parameters
    ----------
    share : voltage across one unit over that of the side that feeds it.
    """
    if unit.driver is None:
        return None
    hz = np.geomspace(LOWEST_HZ, HIGHEST_HZ, POINTS)
    passed = np.abs(_response(band.high_pass, "high", hz) * _response(band.low_pass, "low", hz))
    per_volt = physics.cone_travel(driver=unit.driver, box=unit.box, voltage_v=share, frequency_hz=hz[:, None])
    # pink noise has the same power in each step of a geometric grid
    shares = passed**2 / np.sum(passed**2)
    rms = np.sqrt(shares @ per_volt**2 / 2)
    return ConeTravel(rms, hz, np.quantile(per_volt, SURE, axis=1) / np.sqrt(2), passed)


def _response(setting: FilterSetting | None, kind: Literal["low", "high"], hz: Floats) -> Floats:
    if setting is None or setting.corner is None:
        return np.ones(hz.shape, dtype=np.complex128)
    return physics.filter_response(
        shape=setting.shape,
        kind=kind,
        slope_db_per_octave=setting.slope_db_per_octave,
        corner_hz=setting.corner.nominal,
        frequency_hz=hz,
    )
