"""The source's clean limit: the highest volume at which nothing clips that a gain doesn't set."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright import physics
from gainwright.jobfile import volume_steps
from gainwright.model import Amplifier, volume_of
from gainwright.plan.context import level_setter
from gainwright.solve import Conditions

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.model import Node
    from gainwright.plan.context import End, PlanContext
    from gainwright.solve import Chain

    Floats = npt.NDArray[np.float64]

FAR_DOWN_DB = 200.0
"""A level far enough below full scale that nothing clips at any volume."""
THD_LIMIT = 0.01
"""Distortion at which a setting stops being clean, unless the job says otherwise: 1 % as in CTA-2006 ratings."""


@dataclass(frozen=True, slots=True)
class CleanLimit:
    """The highest volume at which nothing before the amplifiers distorts.

    Attributes
    ----------
    head : the stage whose volume sets the level: the head unit, or a processor with a master volume.
    level_dbfs : of the tone: 0, or less if a boost inside the source leaves no room for full scale.
    first : the node that limits, at nominal values.
    onset : volume in steps at which clipping begins, at nominal values.
    volume : last clean step in every draw, shape (draws,).
    middle : last clean step at nominal values.
    """

    head: str
    level_dbfs: float
    first: Node
    onset: float
    volume: Floats
    middle: float


def thd_limit(context: PlanContext) -> float:
    """Return the job's distortion limit, as a ratio."""
    given = context.job.thd_limit
    return given.nominal if given is not None and given.known else THD_LIMIT


def clean_limit(context: PlanContext, end: End) -> CleanLimit:
    """Return the clean limit of the source for one end's tone, with the filters open.

    Below clipping each volume step raises every node by the same number of dB, so one solution at the lowest step gives
    all margins; the limit allows the clip depth at which a sine reaches the job's THD limit.
    """
    chain = context.opened
    head = head_of(context, end)
    room_db = float(room_inside_db(chain, head, np.array([end.tone_hz]))[0])
    level_dbfs = 0.0 if room_db >= -0.1 else float(np.floor(room_db))
    depth_db = float(20 * np.log10(physics.drive_for_thd(thd=thd_limit(context))))
    steps = volume_steps(volume_of(chain.job.stages[head]))

    found = onsets(context, end, chain, end.tone_hz, level_dbfs)
    first = end.all_nodes[int(np.argmin(found[0]))]
    onset = _at_most(np.min(found, axis=1), steps)
    drawn = context.drawn_for(chain)
    drawn_onset = _at_most(np.min(onsets(context, end, chain, end.tone_hz, level_dbfs, values=drawn), axis=1), steps)
    drawn_step = drawn[f"{head}.volume.step"]
    middle_step = chain.nominal()[f"{head}.volume.step"]
    volume = np.clip(np.floor(drawn_onset + depth_db / drawn_step + 1e-9), 1, steps)
    middle = float(np.clip(np.floor(onset[0] + depth_db / middle_step + 1e-9), 1, steps))
    return CleanLimit(head, level_dbfs, first, float(onset[0]), volume, middle)


def head_of(context: PlanContext, end: End) -> str:
    """Return the stage whose volume sets the level of an end: a head unit, or the master volume after it."""
    return level_setter(context.job, end.all_nodes)


def _set_by_gain(context: PlanContext, node: Node) -> bool:
    last = node.stage in {end.stage for end in context.ends}
    return last and isinstance(context.job.stages[node.stage], Amplifier)


def onsets(
    context: PlanContext,
    end: End,
    chain: Chain,
    tones_hz: Any,
    level_dbfs: Any,
    *,
    values: dict[str, Any] | None = None,
) -> Floats:
    """Return the volume at which each node of an end begins to clip, in steps, shape (cases, nodes); infinite for none.

    Below clipping each volume step raises every node by the same number of dB: that of the volume control, or with an
    equaliser that moves with the volume another, but as even.
    """
    head = head_of(context, end)
    margins = _margins(context, end, chain, Conditions(tones_hz, level_dbfs, values=values), 1.0)
    rise = np.asarray((values or chain.nominal())[f"{head}.volume.step"], dtype=np.float64)[..., None]
    if f"{head}.factory.bass_at_top" in chain.facts:
        steps = volume_steps(volume_of(chain.job.stages[head]))
        quiet = Conditions(tones_hz, level_dbfs - FAR_DOWN_DB, values=values)
        top = _margins(context, end, chain, quiet, float(steps)) - FAR_DOWN_DB
        with np.errstate(invalid="ignore"):
            rise = np.maximum(margins - top, 1e-3) / max(steps - 1, 1)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.where(np.isfinite(margins), 1 + margins / rise, np.inf))


def _margins(context: PlanContext, end: End, chain: Chain, asked: Conditions, volume: float) -> Floats:
    """Return the margins of an end's nodes at a volume, dB, shape (cases, nodes).

    Without those before the volume control, which the volume doesn't change, and without an amplifier's own output,
    which its gain sets.
    """
    head, nodes = head_of(context, end), end.all_nodes
    before = context.chain.wiring.upstream(head)
    solved = chain.solve(
        replace(asked, settings={f"{head}.volume": volume}, unloaded=context.speakers),
        targets=nodes,
    )
    margins = solved.margins_db[:, [solved.index(n) for n in nodes]].copy()
    margins[:, [n.stage == head for n in nodes], :2] = np.inf
    margins[:, [n in before for n in nodes]] = np.inf
    margins[:, [_set_by_gain(context, n) for n in nodes], 1:] = np.inf
    return np.asarray(np.min(margins, axis=2))


def _at_most(onset: Floats, steps: int) -> Floats:
    """Return where clipping begins; the highest step where nothing passes, so that nothing clips."""
    return np.asarray(np.where(np.isfinite(onset), onset, float(steps)))


def room_inside_db(chain: Chain, head: str, tones_hz: Floats) -> Floats:
    """Return the headroom of full-scale tones before the volume control, dB; negative where one clips there.

    That is inside a source after its equaliser; for a master volume it is everything up to there, too.
    """
    upstream = chain.wiring.upstream(head)
    targets = (*upstream, *chain.wiring.outputs(head))
    solved = chain.solve(Conditions(tones_hz, -60.0, settings={f"{head}.volume": 1.0}), targets=targets)
    before = solved.margins_db.copy()
    before[:, [n not in upstream for n in solved.nodes], 2] = np.inf
    if not upstream:
        before[:, :, 0] = np.inf
    return np.asarray(np.minimum(np.min(before, axis=(1, 2)) - 60.0, 0.0))
