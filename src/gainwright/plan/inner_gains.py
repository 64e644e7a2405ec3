"""Amplifiers that feed another stage instead of speakers, and where their gain stands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, TypeVar

import numpy as np

from gainwright.jobfile import volume_steps
from gainwright.model import Amplifier, HeadUnit, volume_of
from gainwright.solve import Conditions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.model import Job, Node
    from gainwright.solve import Chain

LINEAR_DB = 60.0
"""Level reduction at which gains and margins are solved without clipping."""
MARGIN_DB = 1.0
"""What such an amplifier and the next input keep below their ceilings when the source reaches its own (common practice, no
published source)."""


class ChainEnd(Protocol):
    """The last stage of a chain, with everything before it and its set-up tone."""

    @property
    def stage(self) -> str:
        """Its name."""

    @property
    def nodes(self) -> tuple[Node, ...]:
        """Its outputs."""

    @property
    def upstream(self) -> tuple[Node, ...]:
        """Every node before it."""

    @property
    def all_nodes(self) -> tuple[Node, ...]:
        """Both."""

    @property
    def tone_hz(self) -> float:
        """The set-up tone."""


E = TypeVar("E", bound=ChainEnd)


def inner_amplifiers(job: Job, ends: Sequence[E]) -> dict[str, E]:
    """Return amplifier -> the first end behind it, in signal order, for those with a gain that feed no speaker."""
    last = {end.stage for end in ends}
    found: dict[str, E] = {}
    for end in ends:
        for node in end.upstream:
            stage = job.stages[node.stage]
            if node.stage not in last and isinstance(stage, Amplifier) and not stage.gain.fixed:
                found.setdefault(node.stage, end)
    return found


def gain_share(chain: Chain, name: str, end: ChainEnd, head: str) -> float:
    """Return the gain, as a share of its travel, at which the source still clips first, with a margin, at nominal values.

    Parameters
    ----------
    chain : with this gain at its lowest, filters open, the gains behind it at their lowest.
    head : the stage whose volume sets the level.
    """
    node = chain.wiring.outputs(name)[0]
    behind = [n for n in end.all_nodes if node in chain.wiring.upstream(n.stage)]
    heads = [n for n in end.all_nodes if n.stage == head]
    low = chain.solve(
        Conditions(end.tone_hz, -LINEAR_DB, settings={f"{head}.volume": 1.0}), targets=(node, *behind, *heads)
    )
    margins = low.margins_db[0] - LINEAR_DB
    top = (volume_steps(volume_of(chain.job.stages[head])) - 1) * chain.nominal()[f"{head}.volume.step"]
    rise = min([top, *(float(margins[low.index(n), 2]) for n in heads if _is_source(chain, n))])
    room = [float(margins[low.index(node), 2])]
    room += [float(np.min(margins[low.index(n), : 1 if n in end.nodes else 3])) for n in behind]
    wanted_db = min(room) - rise - MARGIN_DB
    shares = np.linspace(chain.settings[f"{name}.gain"], 1.0, 101)
    solved = chain.solve(
        Conditions(end.tone_hz, -LINEAR_DB, settings={f"{head}.volume": 1.0, f"{name}.gain": shares}), targets=(node,)
    )
    volts = solved.rms_v[:, solved.index(node)]
    more_db = 20 * np.log10(np.maximum(volts, 1e-30) / max(float(volts[0]), 1e-30))
    return float(np.interp(wanted_db, more_db, shares))


def _is_source(chain: Chain, node: Node) -> bool:
    return isinstance(chain.job.stages[node.stage], HeadUnit)
