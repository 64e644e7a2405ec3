"""How far below full scale the set-up tone of a band may sit, for the tracks that will be played.

With an allowance of A dB, a sine of -A dBFS just reaches the ceiling, so samples are clipped at c = 10^(-A/20) of full
scale (see `hard_clipping`). A list of tracks is treated as if they were played one after the other, so shares and
powers are weighted by play time. The recommended allowance is the largest at which the whole list stays within the
limits on clipped time and clipping products, and each single track within the limits on power, heat of the coils and
travel of the cones: a voice coil heats up within minutes, and a quiet track afterwards doesn't help.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from gainwright.programme.hard_clipping import clipping_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.programme.track_statistics import BandStatistics

    Floats = npt.NDArray[np.float64]

ALLOWANCES_DB: Floats = np.arange(0.0, 20.0 + 0.25, 0.5)
ALLOWANCES_DB.setflags(write=False)
SINE_CREST_DB = 10 * math.log10(2)
"""Crest factor of a sine, dB."""
_MOST_NAMED = 3

LimitOfSpeaker = Literal["coil_heat", "cone_travel"]
DecidedBy = Literal["clipped_time", "distortion", "mean_power", "coil_heat", "cone_travel", "range"]


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits on clipped time, and on clipping products relative to the programme; mean power is limited by the rating.

    The defaults are common practice, no published source.
    """

    clipped_time_percent: float = 0.1
    distortion_power_db: float = -40.0


@dataclass(frozen=True, slots=True)
class SpeakerLoad:
    """The speaker of a band that reaches its rating first: the power of a sine at the ceiling into it, and its rating."""

    speaker: str
    target_w: float
    rating_w: float | None


@dataclass(frozen=True, slots=True)
class SpeakerLimit:
    """What the music does to a speaker as a share of what it withstands, for each track and allowance; over 1 it is too much.

    Attributes
    ----------
    shares : shape (tracks, allowances).
    """

    speaker: str
    what: LimitOfSpeaker
    shares: Floats

    @property
    def over_list(self) -> Floats:
        """The share of the track that asks most, for each allowance."""
        return np.asarray(self.shares.max(axis=0))

    def of(self, track: int) -> SpeakerLimit:
        """Return the limit for one track alone."""
        return SpeakerLimit(self.speaker, self.what, self.shares[track : track + 1])


@dataclass(frozen=True, slots=True)
class TrackBand:
    """One band of one track, with the length of the track."""

    track: str
    seconds: float
    band: BandStatistics


@dataclass(frozen=True, slots=True)
class AllowanceRow:
    """The effects of one allowance, `db`; low and high are bounds due to the steps of the distribution.

    `distortion_power_db`: clipping products relative to the original programme; None when nothing is clipped.
    `mean_power_db`, `worst_1s_power_db`: relative to a sine that just reaches the ceiling (for the worst second an
    upper bound). `*_power_w`: into the speaker, None without a job; `worst_track_power_w` is the mean over the track
    with the highest mean. `gained_db`: level gained compared with an allowance of 0 dB.
    """

    db: float
    clipped_time_percent: float
    clipped_time_percent_low: float
    clipped_time_percent_high: float
    distortion_power_db: float | None
    distortion_power_db_low: float | None
    distortion_power_db_high: float | None
    mean_power_db: float | None
    worst_1s_power_db: float | None
    mean_power_w: float | None
    worst_track_power_w: float | None
    worst_1s_power_w: float | None
    gained_db: float


@dataclass(frozen=True, slots=True)
class AllowanceChoice:
    """The largest allowance within the limits, what limits it, and the tracks that contribute most.

    `kept` is False if even 0 dB exceeds the limits. `speaker`: whose coil or cone limits it, empty for other limits.
    `clipping_db`: what the limits on clipping alone would allow; None if not even 0 dB.
    """

    db: float
    decided_by: DecidedBy
    tracks: tuple[str, ...]
    kept: bool
    speaker: str = ""
    clipping_db: float | None = None


@dataclass(frozen=True, slots=True)
class BandAllowance:
    """One band of a list: its rows by increasing allowance, the choice, and its crest over all tracks."""

    band: str
    rows: tuple[AllowanceRow, ...]
    choice: AllowanceChoice
    crest_db: float | None
    peak_dbfs: float | None
    drive: SpeakerLoad | None

    def row(self, db: float) -> AllowanceRow:
        """Return the row nearest to an allowance."""
        return min(self.rows, key=lambda row: abs(row.db - db))


@dataclass(frozen=True, slots=True)
class _Sums:
    """Tracks (rows) by allowance (columns); times are seconds, squares re full scale."""

    seconds: Floats
    squares: Floats
    worst_1s: Floats
    share: Floats
    share_low: Floats
    share_high: Floats
    products: Floats
    products_low: Floats
    products_high: Floats
    power: Floats

    def over_list(self, values: Floats) -> Floats:
        """Return the mean of a figure over the tracks, weighted by play time."""
        return np.asarray(self.seconds @ values / self.seconds.sum())


def evaluate_allowances(
    parts: Sequence[TrackBand],
    *,
    drive: SpeakerLoad | None = None,
    limits: Limits | None = None,
    steps_db: Floats = ALLOWANCES_DB,
    speakers: Sequence[SpeakerLimit] = (),
) -> BandAllowance:
    """Return the effects of each allowance on one band of a list of tracks, and the recommended allowance.

    Parameters
    ----------
    steps_db : the allowances to evaluate, increasing, from 0 dB.
    speakers : what coils and cones stand, for these tracks and allowances.

    Raises
    ------
    ValueError : no track.
    """
    if not parts:
        raise ValueError("an allowance needs a track")
    limits = limits or Limits()
    ceilings = 10 ** (-np.asarray(steps_db, dtype=np.float64) / 20)
    sums = _sums(parts, ceilings)
    rows = _rows(sums, np.asarray(steps_db), ceilings, drive)
    peak = max(part.band.peak for part in parts)
    mean = float(sums.over_list(sums.squares))
    crest = 10 * math.log10(peak * peak / mean) if mean > 0 else None
    highest = 20 * math.log10(peak) if peak > 0 else None
    choice = _choose([part.track for part in parts], sums, rows, ceilings, drive, limits, speakers)
    return BandAllowance(parts[0].band.name, rows, choice, crest, highest, drive)


def _sums(parts: Sequence[TrackBand], ceilings: Floats) -> _Sums:
    cuts = [clipping_at(part.band, ceilings) for part in parts]
    tables = ("share", "share_low", "share_high", "products", "products_low", "products_high", "power")
    return _Sums(
        np.array([max(part.seconds, 1e-9) for part in parts]),
        np.array([part.band.mean_square for part in parts]),
        np.array([part.band.worst_1s for part in parts]),
        *(np.stack([getattr(c, name) for c in cuts]) for name in tables),
    )


def _db(ratio: float) -> float | None:
    return 10 * math.log10(ratio) if ratio > 0 else None


def _rows(sums: _Sums, steps_db: Floats, ceilings: Floats, drive: SpeakerLoad | None) -> tuple[AllowanceRow, ...]:
    programme = float(sums.over_list(sums.squares))
    share, low, high = (100 * sums.over_list(s) for s in (sums.share, sums.share_low, sums.share_high))
    products = [sums.over_list(p) for p in (sums.products, sums.products_low, sums.products_high)]
    sine = ceilings**2 / 2
    power = sums.over_list(sums.power)
    mean, by_track = power / sine, (sums.power / sine).max(axis=0)
    second = np.minimum(sums.worst_1s.max(), ceilings**2) / sine
    rows = []
    for i, db in enumerate(steps_db):
        middle, least, most = (_db(float(p[i]) / programme) if programme > 0 else None for p in products)
        watts = [None if drive is None else float(x[i]) * drive.target_w for x in (mean, by_track, second)]
        gained = float(db) + (_db(float(power[i] / power[0])) or 0.0 if power[0] > 0 else 0.0)
        rows.append(
            AllowanceRow(
                db=float(db),
                clipped_time_percent=float(share[i]),
                clipped_time_percent_low=float(low[i]),
                clipped_time_percent_high=float(high[i]),
                distortion_power_db=middle,
                distortion_power_db_low=least,
                distortion_power_db_high=most,
                mean_power_db=_db(float(mean[i])),
                worst_1s_power_db=_db(float(second[i])),
                mean_power_w=watts[0],
                worst_track_power_w=watts[1],
                worst_1s_power_w=watts[2],
                gained_db=gained,
            )
        )
    return tuple(rows)


def _clipping_broken(row: AllowanceRow, limits: Limits) -> DecidedBy | None:
    if row.clipped_time_percent > limits.clipped_time_percent:
        return "clipped_time"
    if row.distortion_power_db is not None and row.distortion_power_db > limits.distortion_power_db:
        return "distortion"
    return None


def _power_broken(row: AllowanceRow, drive: SpeakerLoad | None) -> DecidedBy | None:
    rated = drive is not None and drive.rating_w is not None and row.worst_track_power_w is not None
    over = rated and row.worst_track_power_w > drive.rating_w * (1 + 1e-9)  # type: ignore[operator, union-attr]
    return "mean_power" if over else None


def _choose(
    names: Sequence[str],
    sums: _Sums,
    rows: Sequence[AllowanceRow],
    ceilings: Floats,
    drive: SpeakerLoad | None,
    limits: Limits,
    speakers: Sequence[SpeakerLimit],
) -> AllowanceChoice:
    """Return the last row before the first that exceeds a limit; none of the figures falls as the allowance grows."""
    clipping_db: float | None = next(
        (rows[i - 1].db if i else None for i, row in enumerate(rows) if _clipping_broken(row, limits)), rows[-1].db
    )
    for i, row in enumerate(rows):
        over = max(speakers, key=lambda s: float(s.over_list[i]), default=None)
        if over is not None and over.over_list[i] <= 1:
            over = None
        broken = _clipping_broken(row, limits) or _power_broken(row, drive) or (over.what if over else None)
        if broken is None:
            continue
        amounts = over.shares[:, i] if over else np.zeros(len(names))
        by_track = {
            "clipped_time": sums.seconds * sums.share[:, i],
            "distortion": sums.seconds * sums.products[:, i],
            "mean_power": sums.power[:, i] / ceilings[i] ** 2,
        }.get(broken, np.where(amounts > 1, amounts, 0.0))
        speaker = over.speaker if over is not None and broken == over.what else ""
        tracks = _main_tracks(names, by_track)
        return AllowanceChoice(rows[max(i - 1, 0)].db, broken, tracks, i > 0, speaker, clipping_db)
    return AllowanceChoice(rows[-1].db, "range", (), kept=True, clipping_db=clipping_db)


def _main_tracks(names: Sequence[str], amounts: Floats) -> tuple[str, ...]:
    """Return the tracks with the largest amounts, until they make up half of the total, three at most."""
    found: list[str] = []
    reached = 0.0
    for i in np.argsort(-amounts, kind="stable"):
        if amounts[i] <= 0 or reached >= 0.5 * amounts.sum() or len(found) == _MOST_NAMED:
            break
        found.append(names[i])
        reached += float(amounts[i])
    return tuple(found)
