"""The hearing dose of tones that were heard: by NIOSH's recommendation and by directive 2003/10/EC, each from below and from above."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright import physics

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.solve.ear_level import EarLevel

NIOSH_FROM_DBA = 80.0
"""NIOSH 98-126 integrates levels from 80 to 140 dBA. From above quieter ones count too: the bound stays safe."""


@dataclass(frozen=True, slots=True)
class Exposure:
    """A tone that was heard.

    Attributes
    ----------
    seconds_low, seconds_high : how long it played, at least and at most.
    timed : whether the longest time follows from the clock; else it is how long the step lets it play.
    measured : whether its level was measured at the ear.
    """

    level: EarLevel
    seconds_low: float
    seconds_high: float
    timed: bool = True
    measured: bool = False


@dataclass(frozen=True, slots=True)
class HearingDose:
    """What some tones did to an unprotected ear, from below and from above.

    Attributes
    ----------
    tones : their number.
    seconds_low, seconds_high : how long all of them played.
    niosh_percent_low, niosh_percent_high : share of the longest exposure a day that NIOSH 98-126 recommends.
    exposure_dba_low, exposure_dba_high : daily exposure level L_EX,8h of 2003/10/EC; None where no tone says any.
    untimed, measured : how many of them have no time, and a level that was measured.
    unknown : speakers without a sensitivity.
    peak_dbc_high : the highest peak at most, C-weighted; None without a tone.
    """

    tones: int = 0
    seconds_low: float = 0.0
    seconds_high: float = 0.0
    niosh_percent_low: float = 0.0
    niosh_percent_high: float = 0.0
    exposure_dba_low: float | None = None
    exposure_dba_high: float | None = None
    untimed: int = 0
    measured: int = 0
    unknown: tuple[str, ...] = ()
    peak_dbc_high: float | None = None


@dataclass(frozen=True, slots=True)
class DayHearing:
    """The hearing doses of a day.

    Attributes
    ----------
    day : its date, as `2026-11-28`, where the work is done.
    of_job, of_day : of one job, and of all jobs as if one person had heard them.
    jobs : how many jobs had tones.
    music : whether music was listened to in this job, which isn't counted.
    gone : entries of steps that the plan no longer has, at which a tone may have been heard.
    """

    day: str
    of_job: HearingDose = HearingDose()
    of_day: HearingDose = HearingDose()
    jobs: int = 0
    music: bool = False
    gone: int = 0


def hearing_dose(exposures: Iterable[Exposure]) -> HearingDose:
    """Return the dose of tones that one person heard without protection."""
    heard = list(exposures)
    if not heard:
        return HearingDose()
    low = [(e.level.level_dba_low, e.seconds_low) for e in heard if e.level.level_dba_low is not None]
    high = [(e.level.level_dba_high, e.seconds_high) for e in heard]
    return HearingDose(
        len(heard),
        sum(e.seconds_low for e in heard),
        sum(e.seconds_high for e in heard),
        _niosh_percent([(level, seconds) for level, seconds in low if level >= NIOSH_FROM_DBA]),
        _niosh_percent(high),
        _exposure_dba(low),
        _exposure_dba(high),
        sum(not e.timed for e in heard),
        sum(e.measured for e in heard),
        tuple(dict.fromkeys(name for e in heard for name in e.level.unknown)),
        max((e.level.peak_dbc_high for e in heard if e.level.peak_dbc_high is not None), default=None),
    )


def _niosh_percent(heard: list[tuple[float, float]]) -> float:
    permissible = physics.niosh_permissible_time_s(level_dba=[level for level, _ in heard])
    return 100 * float(physics.daily_dose(duration_s=[seconds for _, seconds in heard], permissible_s=permissible))


def _exposure_dba(heard: list[tuple[float, float]]) -> float | None:
    if not any(seconds > 0 for _, seconds in heard):
        return None
    levels, seconds = zip(*heard, strict=True)
    return float(physics.daily_exposure_level_dba(level_dba=levels, duration_s=seconds))
