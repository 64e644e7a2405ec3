"""The set-up tone at full level into connected speakers: how far down, for how long and how often, so that no cone or coil suffers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.model import Speaker
from gainwright.plan.strapping import halves
from gainwright.solve import ear_level, speaker_unit, tone_load

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.settled import Settled
    from gainwright.solve import EarLevel

LONGEST_S, SHORTEST_S = 5.0, 2.0
"""How long such a tone plays at most, and the least time in which a meter settles and is read (common practice, no published source)."""
STEP_DB, MOST_DB = 1.0, 12.0


@dataclass(frozen=True, slots=True)
class ToneOnLoad:
    """The set-up tone into connected speakers.

    Attributes
    ----------
    lower_db : how far below its target level.
    seconds, pause_seconds : how long it may play at a time, and the least pause until it plays again; 0 s for none.
    """

    lower_db: float
    seconds: float
    pause_seconds: float


def tone_on_load(context: PlanContext, end: End, target_v: float) -> ToneOnLoad | None:
    """Return how the set-up tone may play into the speakers of an end: at its target if cones and coils bear it, else lower.

    Cones stay within Xmax where it is known, coils under half of what they stand; None if not even 12 dB less is borne
    for long enough to read a meter.
    """
    units = [
        (speaker_unit(context.job, name), halves(context, name))
        for name in end.speakers
        if isinstance(context.job.stages[name], Speaker)
    ]
    lower_db = 0.0
    while lower_db <= MOST_DB:
        volts = target_v * 10 ** (-lower_db / 20)
        loads = [
            tone_load(unit, volts=volts * share, tone_hz=end.tone_hz, longest_s=LONGEST_S) for unit, share in units
        ]
        if not any(load.past_xmax or load.seconds < SHORTEST_S for load in loads):
            seconds = math.floor(min([LONGEST_S, *(load.seconds for load in loads)]))
            share = min((load.share_on for load in loads), default=1.0)
            pause = 0.0 if share >= 1 else math.ceil(seconds * (1 / share - 1))
            return ToneOnLoad(lower_db, seconds, pause)
        lower_db += STEP_DB
    return None


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
