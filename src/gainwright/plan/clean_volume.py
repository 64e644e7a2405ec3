"""The clean volume at every frequency: where a stage clips earlier than the set-up tone shows, and what stays said."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from gainwright.jobfile import volume_steps
from gainwright.model import TONES_HZ, volume_of
from gainwright.plan.controls import equalisers_of
from gainwright.plan.result import CleanVolume
from gainwright.plan.source import head_of, onsets, room_inside_db

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy.typing as npt

    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.source import CleanLimit

    Floats = npt.NDArray[np.float64]

SPREAD_HZ = np.geomspace(20.0, 20_000.0, 121)
EARLIER_DB = 0.05
"""A frequency that clips no more than this much earlier than the set-up tones changes nothing: 0.3 % THD becomes 0.4."""
ROOM_DB = 0.1


def searched_hz(context: PlanContext, end: End) -> Floats:
    """Return the frequencies to look at: twelve an octave, and the middles of all equaliser bands on the way."""
    bands = equalisers_of(context.job, end.all_nodes).values()
    middles = [band.corner.nominal for _, equaliser in bands for band in equaliser.bands if band.corner.known]
    return np.unique(np.concatenate([SPREAD_HZ, [hz for hz in middles if 20 <= hz <= 20_000]]))


def worse_tones(context: PlanContext, ends: Iterable[End], onset: float) -> list[End]:
    """Return ends with the tone at which something clips earlier than at any set-up tone, one for each stage that does.

    With the filters back, at full scale, or at what gets through a source whose own boost clips it.

    Parameters
    ----------
    ends : of one source.
    onset : volume in steps at which clipping begins at the set-up tones, at nominal values.
    """
    found: dict[str, tuple[float, End]] = {}
    for end in ends:
        head = head_of(context, end)
        tones_hz = searched_hz(context, end)
        levels = room_inside_db(context.restored, head, tones_hz)
        begins = onsets(context, end, context.restored, tones_hz, levels)
        worst, node = np.unravel_index(int(np.argmin(begins)), begins.shape)
        step_db = context.chain.nominal()[f"{head}.volume.step"]
        earliest = float(begins[worst, node])
        top = volume_steps(volume_of(context.job.stages[head]))
        stage = end.all_nodes[node].stage
        if earliest < min(onset - EARLIER_DB / step_db, top) and earliest < found.get(stage, (top, end))[0]:
            found[stage] = (earliest, replace(end, tone_hz=float(f"{min(tones_hz[worst], TONES_HZ[1]):.3g}")))
    return [end for _, end in sorted(found.values(), key=lambda pair: pair[0])]


def clean_volume(context: PlanContext, limit: CleanLimit, ends: Iterable[End]) -> CleanVolume:
    """Return the highest clean volume of a source, which holds at every frequency, with the exception of its own boost."""
    mine = [end for end in ends if head_of(context, end) == limit.head]
    tones_hz = np.unique(np.concatenate([searched_hz(context, end) for end in mine]))
    room = room_inside_db(context.restored, limit.head, tones_hz)
    worst = int(np.argmin(room))
    low, high = np.quantile(limit.volume, [0.025, 0.975])
    clips = bool(room[worst] < -ROOM_DB)
    return CleanVolume(
        limit.head,
        limit.middle,
        float(low),
        float(high),
        str(limit.first),
        float(room[worst]) if clips else 0.0,
        float(tones_hz[worst]) if clips else None,
    )
