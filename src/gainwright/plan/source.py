"""The source's clean limit: the highest volume at which nothing before the amplifier clips."""

from __future__ import annotations

from dataclasses import dataclass
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
    from gainwright.solve import Chain, Solution

    Floats = npt.NDArray[np.float64]

FAR_DOWN_DB = 200.0
"""So far below full scale that nothing clips at any volume."""
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


def clean_limit(context: PlanContext, end: End, chain: Chain | None = None) -> CleanLimit:
    """Return the clean limit of the source for one end's tone.

    Below clipping each volume step raises every node by the same number of dB, so one solution at the lowest step gives
    all margins; the limit allows the clip depth at which a sine reaches the job's THD limit.
    """
    chain = chain or context.opened
    front = [n for n in end.upstream if not isinstance(chain.job.stages[n.stage], Amplifier)] or list(end.nodes)
    head = level_setter(chain.job, front)
    steps = volume_steps(volume_of(chain.job.stages[head]))
    upstream = chain.wiring.upstream(head)
    room_db = _room_inside_db(chain, head, end.tone_hz)
    level_dbfs = 0.0 if room_db >= -0.1 else float(np.floor(room_db))
    depth_db = float(20 * np.log10(physics.drive_for_thd(thd=thd_limit(context))))

    def limits(values: dict[str, Any] | None) -> tuple[Floats, Floats]:
        low = chain.solve(
            Conditions(
                end.tone_hz, level_dbfs, values=values, settings={f"{head}.volume": 1.0}, unloaded=context.speakers
            ),
            targets=front,
        )
        step = (values or chain.nominal())[f"{head}.volume.step"]
        margins = _margins_after_volume(low, front, head, upstream)
        if f"{head}.factory.bass_at_top" not in chain.facts:
            return _at_most(1 + np.min(margins, axis=1) / step, steps), margins
        # an equaliser that moves with the volume: the rise per step is another, but as even
        quiet = Conditions(
            end.tone_hz,
            level_dbfs - FAR_DOWN_DB,
            values=values,
            settings={f"{head}.volume": float(steps)},
            unloaded=context.speakers,
        )
        top = _margins_after_volume(chain.solve(quiet, targets=front), front, head, upstream) - FAR_DOWN_DB
        rise = np.maximum(margins - top, 1e-3) / max(steps - 1, 1)
        with np.errstate(invalid="ignore"):
            found = np.min(np.where(np.isfinite(margins), margins / rise, np.inf), axis=1)
        return _at_most(1 + found, steps), margins

    onset, margins = limits(None)
    first = front[int(np.argmin(margins[0]))]
    drawn = context.drawn_for(chain)
    drawn_onset, _ = limits(drawn)
    drawn_step = drawn[f"{head}.volume.step"]
    middle_step = chain.nominal()[f"{head}.volume.step"]
    volume = np.clip(np.floor(drawn_onset + depth_db / drawn_step + 1e-9), 1, steps)
    middle = float(np.clip(np.floor(onset[0] + depth_db / middle_step + 1e-9), 1, steps))
    return CleanLimit(head, level_dbfs, first, float(onset[0]), volume, middle)


def _at_most(onset: Floats, steps: int) -> Floats:
    """Return where clipping begins; the highest step where nothing passes, so that nothing clips."""
    return np.asarray(np.where(np.isfinite(onset), onset, float(steps)))


def _margins_after_volume(solved: Solution, nodes: list[Node], head: str, upstream: tuple[Node, ...]) -> Floats:
    """Return margins of nodes, without those before the volume control, which the volume doesn't change."""
    margins = solved.margins_db[:, [solved.index(n) for n in nodes]].copy()
    margins[:, [n.stage == head for n in nodes], :2] = np.inf
    margins[:, [n in upstream for n in nodes]] = np.inf
    return np.asarray(np.min(margins, axis=2))


def _room_inside_db(chain: Chain, head: str, tone_hz: float) -> float:
    """Return the headroom of a full-scale tone before the volume control, dB; negative if it clips there.

    That is inside a source after its equaliser; for a master volume it is everything up to there, too.
    """
    upstream = chain.wiring.upstream(head)
    targets = (*upstream, *chain.wiring.outputs(head))
    solved = chain.solve(Conditions(tone_hz, -60.0, settings={f"{head}.volume": 1.0}), targets=targets)
    before = solved.margins_db[0].copy()
    before[[n not in upstream for n in solved.nodes], 2] = np.inf
    found = [margin - 60 for margin in before.ravel() if np.isfinite(margin)]
    return float(min([0.0, *found]))
