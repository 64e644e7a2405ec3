"""What the music does to each speaker of a job: power, heat of the coil, travel of the cone."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from gainwright import physics
from gainwright.model import Speaker
from gainwright.power.result import SpeakerResult
from gainwright.power.travel import cone_travel_of
from gainwright.solve import speaker_unit

if TYPE_CHECKING:
    from gainwright.model import Job
    from gainwright.plan import AmplifierLoad
    from gainwright.power.programmes import Programme
    from gainwright.programme.music_result import SpeakerFigures
    from gainwright.solve import ImpedanceCurve

NEAR_DB = 1e-6
"""Differences of rounding."""


def speaker_result(
    job: Job,
    name: str,
    amplifier: AmplifierLoad,
    played: Programme,
    curve: ImpedanceCurve,
    judged: SpeakerFigures | None = None,
) -> SpeakerResult:
    """Return what the music does to one unit of a speaker, and the least impedance of its curve.

    Where the scan judged its coil (`judged`), the heat is that of the loudest stretches of the track that heats it most, at
    the job's allowance, so that it is the same as in the scan; else the steady heat of the loudest track's mean.
    The bound of its travel is a sine at the highest peak of the amplifier, through the band's filters, at the frequency
    that moves it most. The estimate takes the worst second and the worst 100 ms as pink noise through the same filters.
    """
    unit = speaker_unit(job, name)
    share = unit.share * (2 if name in amplifier.paired else 1)
    per_unit = share**2
    mean = per_unit * played.loudest_track.mean_square_v2
    worst = per_unit * played.worst_second.mean_square_v2
    heat_share = compression = None
    if unit.heat is not None:
        # cold, and no more than the coil's own resistance: the most that a coil can take
        rise = physics.steady_rise(heat=unit.heat, cold_power_w=mean / unit.re_ohm)
        scanned = None if judged is None else _judged_share(judged, amplifier)
        heat_share = float(np.median(rise / unit.limit_k)) if scanned is None else scanned
        hottest_k = np.median(rise) if scanned is None else scanned * np.median(unit.limit_k)
        compression = float(physics.compression_db(rise_k=hottest_k))
    travel = bound = at = None
    cone = cone_travel_of(unit, amplifier.band, share=share)
    if cone is not None:
        bound_m, at = cone.bound(played.full_scale_v, played.peak_v)
        middle = float(np.median(cone.estimate_m(played.worst_second.mean_square_v2, played.worst_100ms_v2)))
        travel, bound = 1000 * min(middle, bound_m), 1000 * bound_m
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


def _judged_share(judged: SpeakerFigures, amplifier: AmplifierLoad) -> float | None:
    """Return the hottest rise of a coil over what it withstands that a scan found at an amplifier's allowance; None above its table.

    A target that is now another counts like an allowance that is larger by as much; below 0 dB the figure of 0 dB is a bound.
    """
    rows = [(row.db, row.coil_percent) for row in judged.by_allowance if row.coil_percent is not None]
    if not rows or not judged.target_v:
        return None
    db, percent = zip(*rows, strict=True)
    at = amplifier.band.allowance_db + 20 * math.log10(amplifier.target_v / judged.target_v)
    return float(np.interp(at, db, percent)) / 100 if at <= db[-1] + NEAR_DB else None
