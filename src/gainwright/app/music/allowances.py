"""The allowance for the music that will be played: a library's statistics, with a job or without."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.app.music.scan import Library, ScannedTrack
    from gainwright.model import Job
    from gainwright.plan import AmplifierBand
    from gainwright.power.music_limits import MusicSpeaker
    from gainwright.programme import Band, BandAllowance, BandStatistics, Limits, SpeakerLimit, TrackBand
    from gainwright.programme.music_result import (
        BandChoice,
        BandFigures,
        MusicResult,
        SpeakerFigures,
        TimeAbove,
        TrackFigures,
    )

WHOLE = "full"
"""The band without filters, which every scan has."""
_DISTRIBUTION_DB = tuple(x / 2 for x in range(-120, 13))


def _track(track: ScannedTrack, recommended_db: dict[str, float]) -> TrackFigures:
    from gainwright.programme.music_result import TrackFigures

    statistics = track.statistics
    return TrackFigures(
        file=track.file,
        seconds=statistics.seconds,
        rate_hz=statistics.rate_hz,
        channels=statistics.channels,
        lufs=statistics.lufs,
        loudness_range_lu=statistics.loudness_range_lu,
        true_peak_dbtp=_finite(statistics.true_peak_dbtp),
        bands={band.name: _band(band) for band in statistics.bands},
        recommended_db=recommended_db,
    )


def _band(band: BandStatistics) -> BandFigures:
    from gainwright.programme import level_dbfs, worst_100ms
    from gainwright.programme.music_result import BandFigures

    return BandFigures(
        peak_dbfs=_finite(band.peak_dbfs),
        true_peak_dbtp=_finite(band.true_peak_dbtp),
        rms_dbfs=_finite(band.rms_dbfs),
        crest_db=band.crest_db,
        dc=band.dc,
        recorded_clipped_percent=100 * band.clipped_share,
        silence_percent=100 * band.silence_share,
        worst_1s_dbfs=_finite(band.worst_1s_dbfs),
        worst_100ms_dbfs=_finite(level_dbfs(worst_100ms(band))),
    )


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _own_allowances(
    number: int, parts: Mapping[str, Sequence[TrackBand]], found: _Found, limits: Limits
) -> dict[str, float]:
    """Return band -> the allowance for one track alone."""
    from gainwright.programme import evaluate_allowances

    return {
        a.band: evaluate_allowances(
            [parts[a.band][number]],
            drive=a.drive,
            limits=limits,
            speakers=[one.of(number) for one in found.limits[a.band]],
        ).choice.db
        for a in found.allowances
    }


def _choice(allowance: BandAllowance, band: AmplifierBand | None) -> BandChoice:
    from gainwright.programme.music_result import BandChoice

    drive = allowance.drive
    return BandChoice(
        decided_by=allowance.choice.decided_by,
        tracks=allowance.choice.tracks,
        kept=allowance.choice.kept,
        crest_db=allowance.crest_db,
        peak_dbfs=allowance.peak_dbfs,
        now_db=None if band is None else band.allowance_db,
        tone_hz=None if band is None else band.tone_hz,
        speaker="" if drive is None else drive.speaker,
        target_w=None if drive is None else drive.target_w,
        rating_w=None if drive is None else drive.rating_w,
        limited_by=allowance.choice.speaker,
        clipping_db=allowance.choice.clipping_db,
    )


def _distribution(library: Library, band: str) -> tuple[TimeAbove, ...]:
    """Return the share of play time above each level."""
    import numpy as np

    from gainwright.programme import clipping_at
    from gainwright.programme.music_result import TimeAbove

    levels = np.array(_DISTRIBUTION_DB)
    total = np.zeros(levels.size)
    for track in library.tracks:
        total += track.statistics.seconds * clipping_at(track.statistics.band(band), 10 ** (levels / 20)).share
    percent = 100 * total / max(library.seconds, 1e-9)
    return tuple(TimeAbove(float(db), float(p)) for db, p in zip(levels, percent, strict=True))


def job_bands(
    job: Job | None, reached: Mapping[str, float] | None = None
) -> tuple[tuple[Band, ...], dict[str, AmplifierBand]]:
    """Return the bands to analyse, the whole programme first, and band -> its split in the job.

    Parameters
    ----------
    reached : amplifier -> volts that its set-up reached, as a share of its target.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    from gainwright.programme import USUAL_BANDS, Band

    if job is None:
        return USUAL_BANDS, {}
    from gainwright.plan import amplifier_bands, head_unit_loads

    by_key: dict[str, AmplifierBand] = {}
    for band in amplifier_bands(job, reached):
        held = by_key.get(band.key)
        if held is None or _load(band) > _load(held):
            by_key[band.key] = band
    bands = [Band(key, _edge(s.high_pass), _edge(s.low_pass)) for key, s in by_key.items()]
    others = {load.band.key: load.band for load in head_unit_loads(job).values()}
    bands += [
        Band(key, _edge(s.high_pass), _edge(s.low_pass)) for key, s in others.items() if key not in {*by_key, WHOLE}
    ]
    whole = [] if WHOLE in by_key else [Band(WHOLE)]
    return (*whole, *bands), by_key


def _load(band: AmplifierBand) -> float:
    """Return how near to its rating a speaker comes; where two amplifiers share an allowance, the nearer one counts."""
    return band.target_w / band.rating_w if band.target_w and band.rating_w else 0.0


def _edge(setting: Any) -> Any:
    from gainwright.programme import Edge

    if setting is None:
        return None
    return Edge(setting.corner.nominal, setting.shape, setting.slope_db_per_octave)


def allowances(
    library: Library,
    job: Job | None = None,
    *,
    limits: Limits | None = None,
    reached: Mapping[str, float] | None = None,
) -> MusicResult:
    """Return the allowance for a scanned library; the scan must have had the bands of the same job.

    Parameters
    ----------
    reached : amplifier -> volts that its set-up reached, as a share of its target; the powers follow from them.

    Raises
    ------
    CallError : no track could be read.
    """
    from gainwright.programme import Limits
    from gainwright.programme.music_result import MusicResult, SkippedFile

    if not library.tracks:
        raise CallError(
            "no recording could be read" + _first_reason(library),
            code="no_recordings",
            rule="at least one is needed",
            remedy="name a folder with music",
        )
    limits = limits or Limits()
    bands, splits = job_bands(job, reached)
    names = [band.name for band in bands if job is None or band.name in splits]
    parts = {name: _parts(library, name) for name in names}
    found = _evaluated(job, library, parts, splits, limits, reached)
    results = found.allowances
    return MusicResult(
        job="" if job is None else job.title,
        tracks=tuple(_track(track, _own_allowances(i, parts, found, limits)) for i, track in enumerate(library.tracks)),
        allowance={a.band: a.rows for a in results},
        recommended_db={a.band: a.choice.db for a in results},
        choice={a.band: _choice(a, splits.get(a.band)) for a in results},
        distribution={band: _distribution(library, band) for band in (*names, *found.others)},
        limits=limits,
        seconds=library.seconds,
        reused=library.reused,
        skipped=tuple(SkippedFile(s.file, s.why) for s in library.skipped),
        speakers=found.speakers,
    )


def _parts(library: Library, band: str) -> list[TrackBand]:
    from gainwright.programme import TrackBand

    return [TrackBand(t.file, t.statistics.seconds, t.statistics.band(band)) for t in library.tracks]


@dataclass(frozen=True, slots=True)
class _Found:
    """The allowance of each band, band -> what its coils and cones stand, and what the music does to each speaker.

    `others`: bands that only head units' own outputs play, which have no allowance.
    """

    allowances: tuple[BandAllowance, ...]
    limits: dict[str, list[SpeakerLimit]]
    speakers: tuple[SpeakerFigures, ...]
    others: tuple[str, ...] = ()


def _evaluated(
    job: Job | None,
    library: Library,
    parts: Mapping[str, Sequence[TrackBand]],
    splits: Mapping[str, AmplifierBand],
    limits: Limits,
    reached: Mapping[str, float] | None,
) -> _Found:
    from gainwright.programme import SpeakerLoad, evaluate_allowances

    driven: dict[str, list[MusicSpeaker]] = {}
    if job is not None:
        from gainwright.power.music_limits import music_speakers, speaker_figures, speaker_limits

        driven = music_speakers(job, reached)
    found: list[BandAllowance] = []
    borne: dict[str, list[SpeakerLimit]] = {}
    figures: list[SpeakerFigures] = []
    for name, tracks in parts.items():
        band = splits.get(name)
        drive = None
        if band is not None and band.target_w is not None:
            drive = SpeakerLoad(band.speaker, band.target_w, band.rating_w)
        mine = {s.name: speaker_limits(s, tracks) for s in driven.get(name, ())}
        # no allowance changes what a head unit's own outputs give: it must not take others' allowance
        moved = [s.name for s in driven.get(name, ()) if s.load.follows_allowance]
        borne[name] = [one for speaker in moved or mine for one in mine[speaker]]
        chosen = evaluate_allowances(tracks, drive=drive, limits=limits, speakers=borne[name])
        found.append(chosen)
        figures += [speaker_figures(s, tracks, mine[s.name], chosen.choice.db) for s in driven.get(name, ())]
    others = tuple(name for name in driven if name not in parts)
    for name in others:
        tracks = _parts(library, name)
        figures += [speaker_figures(s, tracks, speaker_limits(s, tracks), 0.0) for s in driven[name]]
    return _Found(tuple(found), borne, tuple(figures), others)


def _first_reason(library: Library) -> str:
    if not library.skipped:
        return ""
    more = f", and {len(library.skipped) - 1} more" if len(library.skipped) > 1 else ""
    return f" ({library.skipped[0].file}: {library.skipped[0].why}{more})"


def with_allowances(text: str, recommended_db: Mapping[str, float], *, name: str = "job") -> str:
    """Return a job file's text with its allowances set to the recommended ones; comments and layout stay.

    Raises
    ------
    JobError : the text isn't a valid job.
    """
    from gainwright.jobfile import read_job_text
    from gainwright.jobfile.editing import set_key, unset_key

    for key, db in recommended_db.items():
        text = set_key(text, ("allowance", key), f"{db:g} dB", name=name)
    job = read_job_text(text, name).job
    from gainwright.plan import amplifier_bands

    others = {band.key for band in amplifier_bands(job)} - set(recommended_db)
    if "all" in job.allowance and len(job.allowance) > 1 and not others:
        text = unset_key(text, ("allowance", "all"), name=name)
    return text


def table_rows(music: MusicResult) -> tuple[Sequence[str], list[dict[str, Any]]]:
    """Return the columns and rows of a table: one row for each track and band."""
    from gainwright.results import to_json

    rows = []
    for track in music.tracks:
        head = {k: v for k, v in to_json(track).items() if k not in ("bands", "recommended_db")}
        head["programme_true_peak_dbtp"] = head.pop("true_peak_dbtp")
        for name, band in track.bands.items():
            rows.append({**head, "band": name, **to_json(band), "allowed_db": track.recommended_db.get(name)})
    return tuple(rows[0]) if rows else (), rows
