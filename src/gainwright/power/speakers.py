"""What the music does to each speaker of a job: power, heat of the coil, travel of the cone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from gainwright import physics
from gainwright.model import Speaker
from gainwright.power.result import SpeakerResult
from gainwright.solve import speaker_unit

if TYPE_CHECKING:
    from gainwright.model import FilterSetting, Job
    from gainwright.plan import AmplifierLoad
    from gainwright.power.programmes import Programme
    from gainwright.solve import ImpedanceCurve, SpeakerUnit

    Floats = np.ndarray

LOWEST_HZ, HIGHEST_HZ, POINTS = 15.0, 20_000.0, 240
CREST = 3.0
"""Largest over rms of the travel in a worst second: three standard deviations (common practice, no published source)."""
SURE = 0.975


def speaker_result(
    job: Job, name: str, amplifier: AmplifierLoad, played: Programme, curve: ImpedanceCurve
) -> SpeakerResult:
    """Return what the music does to one unit of a speaker, and the least impedance of its curve.

    The bound of its travel is a sine at the highest peak of the amplifier, through the band's filters, at the frequency
    that moves it most. The estimate takes the worst second as pink noise through the same filters.
    """
    unit = speaker_unit(job, name)
    per_unit = unit.share**2
    mean = per_unit * played.loudest_track.mean_square_v2
    worst = per_unit * played.worst_second.mean_square_v2
    heat_share = compression = None
    if unit.heat is not None:
        # cold, and no more than the coil's own resistance: the most that a coil can take
        rise = physics.steady_rise(heat=unit.heat, cold_power_w=mean / unit.re_ohm)
        heat_share = float(np.median(rise / unit.limit_k))
        compression = float(physics.compression_db(rise_k=np.median(rise)))
    travel, bound, at = _travel(unit, amplifier, played)
    stage = job.stages[name]
    given = isinstance(stage, Speaker) and stage.re is not None and stage.re.known
    lowest, lowest_hz = curve.lowest() if given else (None, None)
    return SpeakerResult(
        name,
        amplifier.stage,
        mean / unit.impedance_ohm,
        worst / unit.impedance_ohm,
        unit.power_w,
        heat_share,
        compression,
        travel,
        bound,
        at,
        None if unit.xmax_m is None else 1000 * unit.xmax_m,
        unit.missing,
        unit.impedance_ohm,
        None if lowest is None else lowest * unit.impedance_ohm,
        lowest_hz,
    )


def _travel(
    unit: SpeakerUnit, amplifier: AmplifierLoad, played: Programme
) -> tuple[float | None, float | None, float | None]:
    """Return the estimate and the bound of the travel, mm, and the frequency of the bound, Hz."""
    if unit.driver is None:
        return None, None, None
    hz = np.geomspace(LOWEST_HZ, HIGHEST_HZ, POINTS)
    passed = np.abs(_response(amplifier.band.high_pass, "high", hz) * _response(amplifier.band.low_pass, "low", hz))
    per_volt = physics.cone_travel(driver=unit.driver, box=unit.box, voltage_v=unit.share, frequency_hz=hz[:, None])
    most = passed * np.quantile(per_volt, SURE, axis=1) * played.peak_v / np.sqrt(2)
    # pink noise has the same power in each step of a geometric grid; scaled so that the band has the worst second's power
    shares = passed**2 / np.sum(passed**2)
    rms = np.sqrt(np.sum(shares * np.median(per_volt, axis=1) ** 2) / 2 * played.worst_second.mean_square_v2)
    estimate = CREST * rms
    top = int(np.argmax(most))
    bound = 1000 * float(most[top])
    return min(1000 * float(estimate), bound), bound, float(hz[top])


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
