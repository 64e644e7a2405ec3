"""The power and heat of a job as data: the supply at four states, each cable, device and speaker, and what is wrong."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

StateName = Literal["idle", "music", "worst_second", "full_sine"]
STATES: tuple[StateName, ...] = ("idle", "music", "worst_second", "full_sine")
"""Nothing playing; the mean of the music; its worst second; a sine at the ceiling of every amplifier at once."""


@dataclass(frozen=True, slots=True)
class DeviceResult:
    """A device at the end of a cable, by state; None where the voltage collapses.

    Attributes
    ----------
    stages : that are in it.
    watts : what it takes, at its own terminals.
    ceiling_db : change of its amplifiers' ceilings re the supply that the plan takes, 0 where all are regulated.
    assumed : what was taken for it because the job doesn't say, in words.
    """

    name: str
    stages: tuple[str, ...]
    watts: dict[StateName, float]
    amps: dict[StateName, float | None]
    volts: dict[StateName, float | None]
    ceiling_db: dict[StateName, float | None]
    assumed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CableResult:
    """One cable of the supply, by state; None where the voltage collapses.

    Attributes
    ----------
    wire, fuse_a : as the job gives them.
    ohm : there and back, warm, with its joints.
    amps, drop_v, end_v : current, voltage lost on it there and back, voltage at its end.
    ampacity_a : what 33 CFR 183.425 (boats) allows a copper conductor of its size; None without a size or for another metal.
    short_a, withstands_s : current when it is shorted at its end, and how long its copper withstands that; None without a size.
    opens_within_s : the longest time in which its own fuse, or the next one before it, opens that as a blade fuse; None where no
        source gives it.
    """

    name: str
    source: str
    feeds: tuple[str, ...]
    wire: str
    fuse_a: float | None
    ohm: float
    amps: dict[StateName, float | None]
    drop_v: dict[StateName, float | None]
    end_v: dict[StateName, float | None]
    ampacity_a: float | None
    short_a: float | None
    withstands_s: float | None
    opens_within_s: float | None = None


@dataclass(frozen=True, slots=True)
class BatteryResult:
    """The battery and the alternator, by state.

    Attributes
    ----------
    volts, drawn_a : at its terminals, and what the sound system draws.
    alternator_carries : whether the alternator gives all of it; None where its current isn't known.
    hours_at_rest : how long the battery gives the mean of the music with the engine off; None without its capacity.
    """

    volts: dict[StateName, float | None]
    drawn_a: dict[StateName, float | None]
    alternator_carries: dict[StateName, bool | None]
    hours_at_rest: float | None


@dataclass(frozen=True, slots=True)
class SpeakerResult:
    """One unit of a speaker under the music.

    Attributes
    ----------
    mean_w, worst_second_w, rating_w : into one unit at its nominal impedance; the mean is that of the loudest track.
    heat_share : hottest rise of its coil over what it withstands, on the track that heats it most, played again and again; of a
        scan its loudest stretches in the worst order, else the steady rise; None without a rating.
    compression_db : level that the warm coil loses, at most.
    travel_mm : estimate of the largest travel in the worst second, if the music is pink in this band.
    travel_bound_mm : a sine at the ceiling at the frequency that moves it most.
    bound_hz : that frequency.
    xmax_mm : its linear travel, None if unknown.
    missing : keys of the job without which its travel can't be computed.
    nominal_ohm : nominal impedance of one unit as its coils are wired.
    lowest_ohm, lowest_hz : the least of its impedance and where; None where the job doesn't give its DC resistance.
    """

    name: str
    amplifier: str
    mean_w: float
    worst_second_w: float
    rating_w: float | None
    heat_share: float | None
    compression_db: float | None
    travel_mm: float | None
    travel_bound_mm: float | None
    bound_hz: float | None
    xmax_mm: float | None
    missing: tuple[str, ...]
    nominal_ohm: float
    lowest_ohm: float | None
    lowest_hz: float | None


@dataclass(frozen=True, slots=True)
class PowerFinding:
    """Something wrong with the supply or a speaker, its remedy in words, and as changes of the job where it can be said so.

    The remedy was computed again: with it the finding is gone.
    """

    severity: Literal["caution", "note"]
    code: str
    where: str
    message: str
    remedy: str
    remedy_sets: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class PowerResult:
    """The power and heat of a job.

    Attributes
    ----------
    job : its title.
    music : what the programme is: `music` of a scan, or `assumed`.
    basis : the same in words, with its source.
    cautions : what anybody who works on this must know first.
    """

    job: str
    music: Literal["scan", "assumed"]
    basis: str
    battery: BatteryResult
    cables: tuple[CableResult, ...]
    devices: tuple[DeviceResult, ...]
    speakers: tuple[SpeakerResult, ...]
    findings: tuple[PowerFinding, ...]
    cautions: tuple[str, ...]
