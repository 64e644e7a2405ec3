"""What a scan of music gave, as data: track by track, and what the list of them allows band by band."""

from __future__ import annotations

from dataclasses import dataclass

from gainwright.programme.allowance import AllowanceRow, BandAllowance, Choice, DecidedBy, Drive, Limits


@dataclass(frozen=True, slots=True)
class BandFigures:
    """One band of a track: levels re full scale (dBFS, dBTP), None in silence; DC re full scale; shares in per cent."""

    peak_dbfs: float | None
    true_peak_dbtp: float | None
    rms_dbfs: float | None
    crest_db: float
    dc: float
    recorded_clipped_percent: float
    silence_percent: float
    worst_1s_dbfs: float | None


@dataclass(frozen=True, slots=True)
class TrackFigures:
    """One track: loudness of all channels together, its bands by name, and what it alone would allow, by band."""

    file: str
    seconds: float
    rate_hz: int
    channels: int
    lufs: float | None
    loudness_range_lu: float | None
    true_peak_dbtp: float | None
    bands: dict[str, BandFigures]
    recommended_db: dict[str, float]


@dataclass(frozen=True, slots=True)
class BandChoice:
    """Why an allowance is recommended for a band, and what the job says of it.

    Attributes
    ----------
    decided_by, tracks : what stands against more, and the tracks that do.
    kept : False when not even 0 dB keeps the limits.
    crest_db, peak_dbfs : of the band over all tracks; None in silence.
    now_db, tone_hz : allowance and tone that the job has now; None without a job.
    speaker, target_w, rating_w : the speaker that reaches its rating first, its power from a sine at the ceiling, its rating.
    """

    decided_by: DecidedBy
    tracks: tuple[str, ...]
    kept: bool
    crest_db: float | None
    peak_dbfs: float | None
    now_db: float | None
    tone_hz: float | None
    speaker: str
    target_w: float | None
    rating_w: float | None


@dataclass(frozen=True, slots=True)
class TimeAbove:
    """For how much of the time a list is above a level, dB re digital full scale."""

    peak_dbfs: float
    time_percent: float


@dataclass(frozen=True, slots=True)
class SkippedFile:
    """A file that could not be read, and why."""

    file: str
    why: str


@dataclass(frozen=True, slots=True)
class MusicResult:
    """What a scan of music gave.

    Attributes
    ----------
    job : title of the job that it was held against; empty without one.
    allowance : band -> what comes of each allowance, rising.
    choice : band -> why its allowance is recommended.
    distribution : band -> time above each level.
    seconds : play time of all tracks.
    reused : how many tracks were known from an earlier scan.
    written_db : output -> allowance that was written into the job; None when none was.
    """

    job: str
    tracks: tuple[TrackFigures, ...]
    allowance: dict[str, tuple[AllowanceRow, ...]]
    recommended_db: dict[str, float]
    choice: dict[str, BandChoice]
    distribution: dict[str, tuple[TimeAbove, ...]]
    limits: Limits
    seconds: float
    reused: int
    skipped: tuple[SkippedFile, ...]
    written_db: dict[str, float] | None = None

    @property
    def bands(self) -> tuple[BandAllowance, ...]:
        """Each band with its rows, choice and drive together."""
        return tuple(self._band(name, choice) for name, choice in self.choice.items())

    def _band(self, name: str, found: BandChoice) -> BandAllowance:
        choice = Choice(self.recommended_db[name], found.decided_by, found.tracks, kept=found.kept)
        drive = None if found.target_w is None else Drive(found.speaker, found.target_w, found.rating_w)
        return BandAllowance(name, self.allowance[name], choice, found.crest_db, found.peak_dbfs, drive)
