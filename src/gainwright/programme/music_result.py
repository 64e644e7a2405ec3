"""The result of a scan of music: figures of each track, and the allowances of the whole list by band."""

from __future__ import annotations

from dataclasses import dataclass

from gainwright.programme.allowance import AllowanceChoice, AllowanceRow, BandAllowance, DecidedBy, Limits, SpeakerLoad


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
    """One track: loudness of all channels together, its bands by name, and the allowance for it alone, by band."""

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
    """Why an allowance is recommended for a band, and the job's own values for it.

    Attributes
    ----------
    decided_by, tracks : the limit that prevents a larger allowance, and the tracks that contribute most.
    kept : False if even 0 dB exceeds the limits.
    crest_db, peak_dbfs : of the band over all tracks; None for silence.
    now_db, tone_hz : the job's present allowance and tone; None without a job.
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
    """Share of the time that a list is above a level, dB re digital full scale."""

    peak_dbfs: float
    time_percent: float


@dataclass(frozen=True, slots=True)
class SkippedFile:
    """A file that couldn't be read, and why."""

    file: str
    why: str


@dataclass(frozen=True, slots=True)
class MusicResult:
    """The result of a scan of music.

    Attributes
    ----------
    job : title of the job it was evaluated for; empty without one.
    allowance : band -> the effects of each allowance, increasing.
    choice : band -> why its allowance is recommended.
    distribution : band -> time above each level.
    seconds : play time of all tracks.
    reused : number of tracks whose figures come from an earlier scan.
    written_db : output -> allowance that was written into the job; None if none was.
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
        """Each band with its rows, choice and speaker."""
        return tuple(self._band(name, choice) for name, choice in self.choice.items())

    def _band(self, name: str, found: BandChoice) -> BandAllowance:
        choice = AllowanceChoice(self.recommended_db[name], found.decided_by, found.tracks, kept=found.kept)
        drive = None if found.target_w is None else SpeakerLoad(found.speaker, found.target_w, found.rating_w)
        return BandAllowance(name, self.allowance[name], choice, found.crest_db, found.peak_dbfs, drive)
