"""What coils and cones stand of the music, for every allowance: limits beside clipping, and figures at the allowance that is taken."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright import physics
from gainwright.model import Speaker
from gainwright.plan import amplifier_loads, head_unit_loads
from gainwright.power.travel import ConeTravel, cone_travel_of
from gainwright.programme import ALLOWANCES_DB, SpeakerLimit, loudest_stretches, worst_100ms
from gainwright.programme.music_result import SpeakerAtAllowance, SpeakerFigures
from gainwright.solve import SpeakerUnit, speaker_unit

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.model import Job
    from gainwright.plan import AmplifierLoad
    from gainwright.programme import TrackBand
    from gainwright.programme.allowance import LimitOfSpeaker

    Floats = np.ndarray

SURE = 0.975
"""Quantile of the draws at which a coil must stand it; the travel of a cone is judged by its median."""
STRETCHES_S: Floats = np.geomspace(0.1, 200_000.0, 72)
"""Lengths of the stretches that heat is computed from, up to two days of the same track."""
DRAWS_KEPT = slice(None, None, 4)
"""Draws that decide for each of many tracks; the figures that are shown take all."""


_Interval = tuple[float | None, float | None, float | None]
"""Median and ends of a 95 % interval."""


@dataclass(frozen=True, slots=True)
class MusicSpeaker:
    """A speaker with the amplifier, or the head unit's output, that drives it.

    Attributes
    ----------
    share : voltage across one unit over that of a side of the amplifier.
    cone : how far it goes, None while parameters are missing.
    """

    name: str
    unit: SpeakerUnit
    load: AmplifierLoad
    share: float
    cone: ConeTravel | None

    def full_scale_v2(self, allowance_db: Floats) -> Floats:
        """Return the square of the peak of full scale across one unit if nothing clips it: a sine of -A dBFS gives the target.

        At a head unit's own output full scale itself does.
        """
        over = 10 ** (np.asarray(allowance_db) / 10) if self.load.follows_allowance else np.ones(np.shape(allowance_db))
        return np.asarray(2 * (self.load.target_v * self.share) ** 2 * over)

    @property
    def ceiling_v2(self) -> float:
        """Square of the highest peak across one unit, and so the most that any mean square can be."""
        return float(2 * (max(self.load.ceiling_v, self.load.target_v) * self.share) ** 2)


def music_speakers(job: Job, reached: Mapping[str, float] | None = None) -> dict[str, list[MusicSpeaker]]:
    """Return band -> the speakers that amplifiers and head units drive in it; one at a strapped pair stands once.

    Parameters
    ----------
    reached : stage -> volts that its set-up reached, as a share of its target.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    found: dict[str, list[MusicSpeaker]] = {}
    done: set[str] = set()
    for load in (*amplifier_loads(job, reached), *head_unit_loads(job).values()):
        for name in load.speakers:
            if name in done or not isinstance(job.stages[name], Speaker):
                continue
            done.add(name)
            unit = speaker_unit(job, name)
            share = unit.share * (2 if name in load.paired else 1)
            cone = cone_travel_of(unit, load.band, share=share)
            found.setdefault(load.band.key, []).append(MusicSpeaker(name, unit, load, share, cone))
    return found


def speaker_limits(speaker: MusicSpeaker, parts: Sequence[TrackBand]) -> list[SpeakerLimit]:
    """Return what the music does to coil and cone of a speaker, as shares of what they stand, by track and allowance.

    A coil must stand the worst order of a track's loudest stretches with 97.5 % certainty; of a cone's travel the
    estimate counts. What isn't known limits nothing.
    """
    found = []
    if speaker.unit.heat is not None:
        shares = [np.quantile(coil_shares(speaker, p, ALLOWANCES_DB, DRAWS_KEPT), SURE, axis=1) for p in parts]
        found.append(SpeakerLimit(speaker.name, "coil_heat", np.array(shares)))
    if speaker.cone is not None and speaker.unit.xmax_m is not None:
        travels = [np.median(_travels(speaker, speaker.cone, p, ALLOWANCES_DB), axis=1) for p in parts]
        found.append(SpeakerLimit(speaker.name, "cone_travel", np.array(travels) / speaker.unit.xmax_m))
    return found


def coil_shares(speaker: MusicSpeaker, part: TrackBand, allowances_db: Floats, draws: slice = slice(None)) -> Floats:
    """Return the hottest rise of a coil over what it withstands on a track played again and again, shape (allowances, draws).

    A stretch holds no more than its loudest windows, nor than the amplifier's ceiling all the time.

    Raises
    ------
    ValueError : the speaker has no rating.
    """
    heat = speaker.unit.heat
    if heat is None:
        raise ValueError(f"{speaker.name} has no rating")
    heat = physics.CoilHeat(**{f: getattr(heat, f)[draws] for f in physics.CoilHeat.__slots__})
    re, limit = speaker.unit.re_ohm[draws], speaker.unit.limit_k[draws]
    held = np.outer(speaker.full_scale_v2(allowances_db), loudest_stretches(part.band, STRETCHES_S))
    squares = np.minimum(held, speaker.ceiling_v2 * STRETCHES_S)
    cold = physics.stretch_rise(heat=heat, seconds=STRETCHES_S, energy_j=squares) / re
    mean = (squares[:, -1] / STRETCHES_S[-1])[:, None] / re
    return np.asarray(physics.hottest_rise(heat=heat, cold_rise_k=cold, mean_w=mean) / limit)


def _travels(speaker: MusicSpeaker, cone: ConeTravel, part: TrackBand, allowances_db: Floats) -> Floats:
    """Return the estimate of the travel, m, shape (allowances, draws)."""
    scale = speaker.full_scale_v2(allowances_db) / speaker.share**2
    most = speaker.ceiling_v2 / speaker.share**2
    second, short = (np.minimum(scale * x, most) for x in (part.band.worst_1s, worst_100ms(part.band)))
    estimate = cone.estimate_m(second, short)
    bounds = [_bound(speaker, cone, part, float(s))[0] for s in scale]
    return np.asarray(np.minimum(estimate, np.array(bounds)[:, None]))


def _bound(speaker: MusicSpeaker, cone: ConeTravel, part: TrackBand, scale_v2: float) -> tuple[float, float]:
    full_scale_v = float(np.sqrt(scale_v2))
    peak_v = min(full_scale_v * part.band.peak, float(np.sqrt(speaker.ceiling_v2)) / speaker.share)
    return cone.bound(full_scale_v, peak_v)


def speaker_figures(
    speaker: MusicSpeaker, parts: Sequence[TrackBand], limits: Sequence[SpeakerLimit], allowance_db: float
) -> SpeakerFigures:
    """Return what the music does to a speaker at an allowance.

    Parameters
    ----------
    limits : of all speakers of these tracks.
    """
    at = np.array([allowance_db])
    own = {one.what: one for one in limits if one.speaker == speaker.name}
    step = int(np.argmin(np.abs(ALLOWANCES_DB - allowance_db)))
    coil: _Interval = (None, None, None)
    track = ""
    if "coil_heat" in own:
        hottest = parts[int(np.argmax(own["coil_heat"].shares[:, step]))]
        low, middle, high = np.quantile(coil_shares(speaker, hottest, at)[0], [1 - SURE, 0.5, SURE])
        coil, track = (100 * float(middle), 100 * float(low), 100 * float(high)), hottest.track
    travel: _Interval = (None, None, None)
    bound: tuple[float | None, float | None] = (None, None)
    if speaker.cone is not None:
        travels = [_travels(speaker, speaker.cone, p, at)[0] for p in parts]
        low, middle, high = np.quantile(max(travels, key=np.median), [1 - SURE, 0.5, SURE])
        travel = (1000 * float(middle), 1000 * float(low), 1000 * float(high))
        scale = float(speaker.full_scale_v2(at)[0]) / speaker.share**2
        metres, hz = max(_bound(speaker, speaker.cone, p, scale) for p in parts)
        bound = (1000 * metres, hz)
    scale_w = float(speaker.full_scale_v2(at)[0]) / speaker.unit.impedance_ohm
    most_w = speaker.ceiling_v2 / speaker.unit.impedance_ohm
    return SpeakerFigures(
        speaker.name,
        speaker.load.band.key,
        speaker.load.stage,
        *coil,
        track,
        _allowed_db(own.get("coil_heat")),
        *travel,
        *bound,
        None if speaker.unit.xmax_m is None else 1000 * speaker.unit.xmax_m,
        _allowed_db(own.get("cone_travel")),
        min(scale_w * max(p.band.worst_1s for p in parts), most_w),
        min(scale_w * max(worst_100ms(p.band) for p in parts), most_w),
        speaker.unit.missing,
        speaker.load.target_v,
        _by_allowance(speaker, parts, own),
    )


def _by_allowance(
    speaker: MusicSpeaker, parts: Sequence[TrackBand], own: Mapping[LimitOfSpeaker, SpeakerLimit]
) -> tuple[SpeakerAtAllowance, ...]:
    """Return the figures at every allowance, each of the track that asks most there."""
    number = len(ALLOWANCES_DB)
    coil, sure, travel = (np.full(number, np.nan) for _ in range(3))
    if "coil_heat" in own:
        hottest = np.argmax(own["coil_heat"].shares, axis=0)
        for track in np.unique(hottest).tolist():
            at = hottest == track
            shares = coil_shares(speaker, parts[track], ALLOWANCES_DB[at])
            coil[at], sure[at] = np.median(shares, axis=1), np.quantile(shares, SURE, axis=1)
    if speaker.cone is not None:
        travel = np.max(
            [np.median(_travels(speaker, speaker.cone, part, ALLOWANCES_DB), axis=1) for part in parts], axis=0
        )
    return tuple(
        SpeakerAtAllowance(float(db), *(None if np.isnan(x) else float(x) for x in figures))
        for db, *figures in zip(ALLOWANCES_DB, 100 * coil, 100 * sure, 1000 * travel, strict=True)
    )


def _allowed_db(limit: SpeakerLimit | None) -> float | None:
    if limit is None:
        return None
    over = np.flatnonzero(limit.over_list > 1)
    last = int(over[0]) - 1 if over.size else len(ALLOWANCES_DB) - 1
    return float(ALLOWANCES_DB[last]) if last >= 0 else None
