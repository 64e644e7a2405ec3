"""The allowance for the music that will be played: a library's statistics, held against a job or against nothing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from gainwright.app.music.scan import Library, Track
    from gainwright.model import Job
    from gainwright.plan import Split
    from gainwright.programme import Band, BandAllowance, BandStatistics, Limits

WHOLE = "full"
"""The band without filters, which every scan has."""
_DISTRIBUTION_DB = tuple(x / 2 for x in range(-120, 13))


@dataclass(frozen=True, slots=True)
class Music:
    """What a library allows.

    Attributes
    ----------
    allowances : band by band; with a job one for each output that has an allowance of its own.
    splits : band -> what the job says of it; empty without a job.
    """

    library: Library
    allowances: tuple[BandAllowance, ...]
    splits: Mapping[str, Split]
    limits: Limits
    job_title: str = ""

    @property
    def recommended_db(self) -> dict[str, float]:
        """Return band -> recommended allowance."""
        return {a.band: a.choice.db for a in self.allowances}

    def as_json(self) -> dict[str, Any]:
        """Return the contract's object."""
        return {
            "job": self.job_title,
            "tracks": [_track_json(track, self) for track in self.library.tracks],
            "allowance": {a.band: [_plain(row) for row in a.rows] for a in self.allowances},
            "recommended_db": self.recommended_db,
            "choice": {a.band: self._choice_json(a) for a in self.allowances},
            "distribution": {a.band: _distribution(self, a.band) for a in self.allowances},
            "limits": _plain(self.limits),
            "seconds": self.library.seconds,
            "reused": self.library.reused,
            "skipped": [{"file": s.file, "why": s.why} for s in self.library.skipped],
        }

    def _choice_json(self, found: BandAllowance) -> dict[str, Any]:
        split, drive = self.splits.get(found.band), found.drive
        return {
            "decided_by": found.choice.decided_by,
            "tracks": list(found.choice.tracks),
            "kept": found.choice.kept,
            "crest_db": found.crest_db,
            "peak_dbfs": found.peak_dbfs,
            "now_db": None if split is None else split.allowance_db,
            "tone_hz": None if split is None else split.tone_hz,
            "speaker": "" if drive is None else drive.speaker,
            "target_w": None if drive is None else drive.target_w,
            "rating_w": None if drive is None else drive.rating_w,
        }


def _plain(row: Any) -> dict[str, Any]:
    return {name: getattr(row, name) for name in row.__dataclass_fields__}


def finite(value: float | None) -> float | None:
    """Return a number that JSON can hold: None for what is infinite."""
    return None if value is None or not math.isfinite(value) else value


def band_figures(band: BandStatistics) -> dict[str, Any]:
    """Return what is told of one band of a track."""
    return {
        "peak_dbfs": finite(band.peak_dbfs),
        "true_peak_dbtp": finite(band.true_peak_dbtp),
        "rms_dbfs": finite(band.rms_dbfs),
        "crest_db": band.crest_db,
        "dc": band.dc,
        "recorded_clipped_percent": 100 * band.clipped_share,
        "silence_percent": 100 * band.silence_share,
        "worst_1s_dbfs": finite(band.worst_1s_dbfs),
    }


def _track_json(track: Track, music: Music) -> dict[str, Any]:
    found = track.statistics
    return {
        "file": track.file,
        "seconds": found.seconds,
        "rate_hz": found.rate_hz,
        "channels": found.channels,
        "lufs": found.lufs,
        "loudness_range_lu": found.loudness_range_lu,
        "true_peak_dbtp": finite(found.true_peak_dbtp),
        "bands": {band.name: band_figures(band) for band in found.bands},
        "recommended_db": own_allowances(track, music),
    }


def own_allowances(track: Track, music: Music) -> dict[str, float]:
    """Return band -> what a track alone would allow."""
    from gainwright.programme import Part, allow

    seconds = track.statistics.seconds
    return {
        a.band: allow(
            [Part(track.file, seconds, track.statistics.band(a.band))], drive=a.drive, limits=music.limits
        ).choice.db
        for a in music.allowances
    }


def _distribution(music: Music, band: str) -> list[dict[str, float]]:
    """Return for how much of the time the list is above each level, by play time."""
    import numpy as np

    from gainwright.programme import cut

    levels = np.array(_DISTRIBUTION_DB)
    total = np.zeros(levels.size)
    for track in music.library.tracks:
        total += track.statistics.seconds * cut(track.statistics.band(band), 10 ** (levels / 20)).share
    percent = 100 * total / max(music.library.seconds, 1e-9)
    return [{"peak_dbfs": float(db), "time_percent": float(p)} for db, p in zip(levels, percent, strict=True)]


def job_bands(job: Job | None) -> tuple[tuple[Band, ...], dict[str, Split]]:
    """Return the bands to look at, the whole programme first, and band -> what the job says of it.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """
    from gainwright.programme import USUAL_BANDS, Band

    if job is None:
        return USUAL_BANDS, {}
    from gainwright.plan import splits

    found: dict[str, Split] = {}
    for split in splits(job):
        held = found.get(split.key)
        if held is None or _load(split) > _load(held):
            found[split.key] = split
    bands = [Band(key, _edge(s.high_pass), _edge(s.low_pass)) for key, s in found.items()]
    whole = [] if WHOLE in found else [Band(WHOLE)]
    return (*whole, *bands), found


def _load(split: Split) -> float:
    """Return how near to its rating a speaker comes; where two amplifiers share an allowance the nearer counts."""
    return split.target_w / split.rating_w if split.target_w and split.rating_w else 0.0


def _edge(setting: Any) -> Any:
    from gainwright.programme import Edge

    if setting is None:
        return None
    return Edge(setting.corner.nominal, setting.shape, setting.slope_db_per_octave)


def allowances(library: Library, job: Job | None = None, *, limits: Limits | None = None) -> Music:
    """Return what a scanned library allows; the scan must have had the bands of the same job.

    Raises
    ------
    CallError : no track could be read.
    """
    from gainwright.programme import Drive, Limits, Part, allow

    if not library.tracks:
        raise CallError(
            "no recording could be read" + _first_reason(library),
            code="no_recordings",
            rule="at least one is needed",
            remedy="name a folder with music",
        )
    limits = limits or Limits()
    bands, found = job_bands(job)
    names = [band.name for band in bands if job is None or band.name in found]
    results = []
    for name in names:
        split = found.get(name)
        drive = None
        if split is not None and split.target_w is not None:
            drive = Drive(split.speaker, split.target_w, split.rating_w)
        parts = [Part(t.file, t.statistics.seconds, t.statistics.band(name)) for t in library.tracks]
        results.append(allow(parts, drive=drive, limits=limits))
    return Music(library, tuple(results), found, limits, "" if job is None else job.title)


def _first_reason(library: Library) -> str:
    if not library.skipped:
        return ""
    more = f", and {len(library.skipped) - 1} more" if len(library.skipped) > 1 else ""
    return f" ({library.skipped[0].file}: {library.skipped[0].why}{more})"


def with_allowances(text: str, recommended_db: Mapping[str, float], *, name: str = "job") -> str:
    """Return a job file's text with its allowances put to what is recommended; comments and layout stay.

    Raises
    ------
    JobError : the text is no job.
    """
    from gainwright.jobfile import read_job_text
    from gainwright.jobfile.editing import set_key, unset_key

    for key, db in recommended_db.items():
        text = set_key(text, ("allowance", key), f"{db:g} dB", name=name)
    job = read_job_text(text, name).job
    from gainwright.plan import splits

    others = {split.key for split in splits(job)} - set(recommended_db)
    if "all" in job.allowance and len(job.allowance) > 1 and not others:
        text = unset_key(text, ("allowance", "all"), name=name)
    return text


def write_allowance(path: Path, music: Music) -> dict[str, float]:
    """Write what is recommended into a job's file; return output -> dB.

    Raises
    ------
    JobError : the file is no job.
    CallError : the file can't be written.
    """
    from gainwright.jobfile import read_job, save

    found = music.recommended_db
    save(path, with_allowances(read_job(path).text, found, name=str(path)))
    return found


def table_rows(music: Music) -> tuple[Sequence[str], list[dict[str, Any]]]:
    """Return the columns and rows of a table: one row a track and band."""
    rows = []
    for track in music.library.tracks:
        own = own_allowances(track, music)
        head = {k: v for k, v in _track_json(track, music).items() if k not in ("bands", "recommended_db")}
        head["programme_true_peak_dbtp"] = head.pop("true_peak_dbtp")
        for band in track.statistics.bands:
            rows.append({**head, "band": band.name, **band_figures(band), "allowed_db": own.get(band.name)})  # noqa: PERF401
    return tuple(rows[0]) if rows else (), rows
