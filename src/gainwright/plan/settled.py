"""Voltages at the ends of a chain that is set up: each amplifier at its target, each source at its clean limit."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.plan.context import DRAWS
from gainwright.solve import Conditions

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.model import Node
    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.result import Target
    from gainwright.plan.source import CleanLimit
    from gainwright.solve import Chain

    Floats = npt.NDArray[np.float64]

LINEAR_DB = 60.0
"""Level reduction at which a chain is solved without clipping."""


class Settled:
    """One output of an end after the set-up, for tones below every ceiling and with the speakers off.

    Parameters
    ----------
    nodes : the sides of the output; the first is the one that is solved.
    target : of an amplifier, reached with the filters open and the set-up tone; None for a source that drives speakers,
        which stands at its clean limit.
    """

    def __init__(
        self, context: PlanContext, end: End, nodes: tuple[Node, ...], limit: CleanLimit, target: Target | None
    ) -> None:
        self.context, self.end, self.nodes, self.limit, self.target = context, end, nodes, limit, target

    def volts(self, chain: Chain, tones_hz: Floats, level_dbfs: float) -> Floats:
        """Return the voltage of each tone at nominal values, V rms, shape (tones,)."""
        found = self._linear(chain, tones_hz, level_dbfs, None)
        if self.target is None:
            return found
        return np.asarray(found * self.target.v_rms / self._at_set_up[0])

    def spread(self, chain: Chain, tone_hz: float, level_dbfs: float) -> tuple[float, float]:
        """Return the 95 % interval of the voltage of a tone, V rms."""
        found = self._linear(chain, tone_hz, level_dbfs, self.context.drawn_for(chain))
        if self.target is not None:
            before = self._at_set_up[1]
            found = found[before > 0] * self.target.v_rms / before[before > 0]
        low, high = np.quantile(found, [0.025, 0.975])
        return float(low), float(high)

    @cached_property
    def _at_set_up(self) -> tuple[float, Floats]:
        """Return what the set-up tone gives with the filters open and the gain at its start, nominal and drawn."""
        opened, tone_hz, level = self.context.opened, self.end.tone_hz, -self.end.allowance_db
        drawn = self._linear(opened, tone_hz, level, self.context.drawn_for(opened))
        return float(self._linear(opened, tone_hz, level, None)[0]), drawn

    def _linear(self, chain: Chain, tones_hz: Any, level_dbfs: float, values: dict[str, Any] | None) -> Floats:
        volume = self.limit.middle if values is None or self.target is not None else self.limit.volume
        asked = Conditions(
            tones_hz,
            level_dbfs - LINEAR_DB,
            values=values,
            settings={f"{self.limit.head}.volume": volume},
            unloaded=self.context.speakers,
        )
        node = self.nodes[0]
        solved = chain.solve(asked, targets=(node,), margins=False)
        found = solved.rms_v[:, solved.index(node)] * 10 ** (LINEAR_DB / 20)
        return np.asarray(np.broadcast_to(found, max(len(found), 1 if values is None else DRAWS)))
