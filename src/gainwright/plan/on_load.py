"""The set-up tone at full level into connected speakers: where, how far down, for how long and how often, so that no cone or coil suffers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright import physics
from gainwright.model import Speaker
from gainwright.plan.bands import pass_band_hz, passed
from gainwright.plan.strapping import halves
from gainwright.solve import PREFERRED_HZ, SpeakerUnit, ear_level, speaker_unit, tone_limits_hz, tone_load

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.settled import Settled
    from gainwright.solve import EarLevel

LONGEST_S, SHORTEST_S = 5.0, 2.0
"""How long such a tone plays at most, and the least time in which a meter settles and is read (common practice, no published source)."""
STEP_DB, MOST_DB = 1.0, 12.0


FAR, MOVED_DB = 4.0, 1.0
"""How far from the set-up tone another is looked for, as a ratio; and what it costs that the set has one tone more, dB."""


@dataclass(frozen=True, slots=True)
class ToneOnLoad:
    """The set-up tone into connected speakers.

    Attributes
    ----------
    tone_hz : its frequency, that of the set-up or another that cones and coils bear better.
    lower_db : how far below its target level.
    seconds, pause_seconds : how long it may play at a time, and the least pause until it plays again; 0 s for none.
    """

    tone_hz: float
    lower_db: float
    seconds: float
    pause_seconds: float


def tone_on_load(context: PlanContext, end: End, target_v: float, settled: Sequence[Settled] = ()) -> ToneOnLoad | None:
    """Return how the set-up tone may play into the speakers of an end: as it is if cones and coils bear it.

    Else at another frequency in the band that passes and that the instruments read, lower, or both: what loses least of
    the current that the reading is about. Cones stay within Xmax where it is known, coils under half of what they stand;
    None if nowhere even 12 dB less is borne for long enough to read a meter.

    Parameters
    ----------
    settled : the outputs as they were set; at another tone an equaliser may give more than the target.
    """
    units = [
        (speaker_unit(context.job, name), halves(context, name))
        for name in end.speakers
        if isinstance(context.job.stages[name], Speaker)
    ]
    found = _borne(units, target_v, end.tone_hz, MOST_DB)
    if found is not None and not found.lower_db:
        return found
    best_db = MOST_DB + STEP_DB if found is None else found.lower_db
    for tone_hz in _other_tones_hz(context, end):
        cost_db = MOVED_DB + _less_current_db(context, end, units, tone_hz)
        given = [s.volts(context.restored, np.array([tone_hz]), -end.allowance_db)[0] for s in settled if s.end == end]
        other = _borne(
            units, max([target_v, *map(float, given)]), tone_hz, min(MOST_DB, best_db - cost_db - STEP_DB / 2)
        )
        if other is not None:
            found, best_db = other, cost_db + other.lower_db
    return found


_Units = list[tuple[SpeakerUnit, int]]


def _borne(units: _Units, target_v: float, tone_hz: float, most_db: float) -> ToneOnLoad | None:
    """Return the highest level at which a tone is borne for long enough; None if it is more than `most_db` lower."""
    lower_db = 0.0
    while lower_db <= most_db:
        volts = target_v * 10 ** (-lower_db / 20)
        loads = [tone_load(unit, volts=volts * share, tone_hz=tone_hz, longest_s=LONGEST_S) for unit, share in units]
        if not any(load.past_xmax or load.seconds < SHORTEST_S for load in loads):
            seconds = math.floor(min([LONGEST_S, *(load.seconds for load in loads)]))
            share = min((load.share_on for load in loads), default=1.0)
            pause = 0.0 if share >= 1 else math.ceil(seconds * (1 / share - 1))
            return ToneOnLoad(tone_hz, lower_db, seconds, pause)
        lower_db += STEP_DB
    return None


def _other_tones_hz(context: PlanContext, end: End) -> list[float]:
    """Return the preferred frequencies that pass to an end and that the instruments read, the nearest first."""
    low, high = pass_band_hz(context.job, context.chain.wiring, end.nodes[0])
    stages = [context.job.stages[name] for name in end.speakers]
    guards = [s.protect_below for s in stages if isinstance(s, Speaker) and s.protect_below is not None]
    low = max([low, end.tone_hz / FAR, *(g.nominal for g in guards if g.known)])
    high = min(high, end.tone_hz * FAR, tone_limits_hz(context.instruments.values())[0])
    within = [hz for hz in PREFERRED_HZ if low <= hz <= high and hz != end.tone_hz]
    return sorted(within, key=lambda hz: abs(math.log(hz / end.tone_hz)))


def _less_current_db(context: PlanContext, end: End, units: _Units, tone_hz: float) -> float:
    """Return how much less current another tone draws than the set-up tone, dB; 0 where it draws more."""
    hz = np.array([end.tone_hz, tone_hz])
    passes = passed(context.job, context.chain.wiring, end.nodes[0], hz)
    siemens = np.zeros(2)
    for unit, share in units:
        if unit.driver is None:
            siemens += share**2 / float(np.median(unit.re_ohm))
        else:
            ohm = physics.driver_impedance(driver=unit.driver, box=unit.box, frequency_hz=hz[:, None])
            siemens += share**2 / np.median(np.abs(ohm), axis=1)
    drawn = passes * siemens
    return max(0.0, float(20 * np.log10(drawn[0] / drawn[1]))) if drawn.all() else 0.0


def heard_level(
    context: PlanContext, settled: Iterable[Settled], *, tone_hz: float, level_dbfs: float
) -> EarLevel | None:
    """Return how loud a tone is at the ear when all speakers are connected and the chain stands as it was set up.

    Parameters
    ----------
    level_dbfs : of the tone, less what the volume is below its clean limit.
    """
    volts: dict[str, float] = {}
    for one in settled:
        found = float(one.volts(context.restored, np.array([tone_hz]), level_dbfs)[0])
        volts[one.end.stage] = max(found, volts.get(one.end.stage, 0.0))
    return ear_level(context.chain, tone_hz=tone_hz, volts=volts)
