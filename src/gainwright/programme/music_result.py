"""The result of a scan of music: figures of each track, and the allowances of the whole list by band."""

from __future__ import annotations

from dataclasses import dataclass

from gainwright.programme.allowance import AllowanceChoice, AllowanceRow, BandAllowance, DecidedBy, Limits, SpeakerLoad


@dataclass(frozen=True, slots=True)
class BandFigures:
    """One band of a track: levels re full scale (dBFS, dBTP), None in silence; DC re full scale; shares in per cent.

    `worst_100ms_dbfs` is an upper bound, within 0.1 dB; None too in results of before it was there.
    """

    peak_dbfs: float | None
    true_peak_dbtp: float | None
    rms_dbfs: float | None
    crest_db: float
    dc: float
    recorded_clipped_percent: float
    silence_percent: float
    worst_1s_dbfs: float | None
    worst_100ms_dbfs: float | None = None


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
    limited_by : the speaker whose coil or cone prevents a larger allowance; empty if something else does.
    clipping_db : what the limits on clipping alone would allow; None if not even 0 dB.
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
    limited_by: str = ""
    clipping_db: float | None = None


@dataclass(frozen=True, slots=True)
class SpeakerAtAllowance:
    """What the music does to one unit of a speaker at an allowance; `SpeakerFigures` has the words. None where it can't be told."""

    db: float
    coil_percent: float | None
    coil_percent_high: float | None
    travel_mm: float | None


@dataclass(frozen=True, slots=True)
class SpeakerFigures:
    """What the music does to one unit of a speaker at the recommended allowance of its band.

    Attributes
    ----------
    coil_percent, coil_percent_low, coil_percent_high : hottest rise of its coil over what it withstands, on the track that heats it
        most, played again and again, its loudest stretches in the worst order; median and 95 % interval of what a rating
        leaves open. None without a rating.
    coil_track : that track.
    coil_allows_db : largest allowance at which the coil withstands it with 97.5 % certainty; None if not even 0 dB, or without a rating.
    travel_mm, travel_mm_low, travel_mm_high : estimate of the largest travel to one side; None while data are missing.
    travel_bound_mm, bound_hz : travel of a steady tone at the highest peak, at the frequency that moves it most, with 97.5 % certainty.
    xmax_mm : its linear travel, None if unknown.
    travel_allows_db : largest allowance at which the estimate stays within it; None if not even 0 dB, or while data are missing.
    worst_1s_w, worst_100ms_w : power of the worst second and of the worst 100 ms, into one unit's nominal impedance.
    missing : keys of the job that the verdict on its travel lacks.
    target_v, by_allowance : the same at every allowance, with a target of `target_v` volts; none in older results.
    """

    speaker: str
    band: str
    amplifier: str
    coil_percent: float | None
    coil_percent_low: float | None
    coil_percent_high: float | None
    coil_track: str
    coil_allows_db: float | None
    travel_mm: float | None
    travel_mm_low: float | None
    travel_mm_high: float | None
    travel_bound_mm: float | None
    bound_hz: float | None
    xmax_mm: float | None
    travel_allows_db: float | None
    worst_1s_w: float
    worst_100ms_w: float
    missing: tuple[str, ...]
    target_v: float | None = None
    by_allowance: tuple[SpeakerAtAllowance, ...] = ()


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
    speakers : what it does to each speaker that an amplifier or a head unit drives; empty without a job.
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
    speakers: tuple[SpeakerFigures, ...] = ()

    @property
    def bands(self) -> tuple[BandAllowance, ...]:
        """Each band with its rows, choice and speaker."""
        return tuple(self._band(name, choice) for name, choice in self.choice.items())

    def _band(self, name: str, found: BandChoice) -> BandAllowance:
        choice = AllowanceChoice(
            self.recommended_db[name], found.decided_by, found.tracks, found.kept, found.limited_by, found.clipping_db
        )
        drive = None if found.target_w is None else SpeakerLoad(found.speaker, found.target_w, found.rating_w)
        return BandAllowance(name, self.allowance[name], choice, found.crest_db, found.peak_dbfs, drive)
