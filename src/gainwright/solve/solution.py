"""The result of a solve: every node's level, distortion, margin and ceiling in every case."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from gainwright.model import Node, Port, Wiring
    from gainwright.solve.steady_state import Cell, CellState

    Floats = npt.NDArray[np.float64]
    Complexes = npt.NDArray[np.complex128]

HARMONICS_KEPT = 20


@dataclass(frozen=True, slots=True)
class CellPlace:
    """The place of a cell: a port, the inside of a digital stage, or an output."""

    role: str
    stage: str
    at: Node | Port

    @property
    def key(self) -> tuple[str, Node | Port]:
        """Its dictionary key."""
        return self.role, self.at


@dataclass(frozen=True, slots=True)
class Solution:
    """Steady state of every node, shape (cases, nodes) each unless said otherwise.

    Attributes
    ----------
    nodes : output nodes in signal order.
    rms_v : volts rms of the signal with its harmonics, without noise.
    fundamental_v : complex rms phasor of the fundamental, volts.
    thd : harmonics over fundamental, as a ratio; NaN where no signal passes.
    margin_db : margin of the stage to the lowest of its ceilings; negative when it clips.
    margins_db : the same for each ceiling, shape (cases, nodes, 3): input, inside, output; infinite where there is none.
    ceiling_v : rms of the largest clean sine at the node, by the lowest ceiling of its stage.
    ceiling_of : which ceiling that is: 0 input, 1 inside, 2 output.
    harmonics : peak phasors, shape (cases, nodes, requested harmonics), volts.
    """

    nodes: tuple[Node, ...]
    rms_v: Floats
    fundamental_v: Complexes
    thd: Floats
    margin_db: Floats
    margins_db: Floats
    ceiling_v: Floats
    ceiling_of: npt.NDArray[np.intp]
    harmonics: Complexes

    def index(self, node: Node) -> int:
        """Return the column of a node."""
        return self.nodes.index(node)

    @staticmethod
    def join(parts: Sequence[Solution]) -> Solution:
        """Join chunks of cases."""
        if len(parts) == 1:
            return parts[0]
        names = ("rms_v", "fundamental_v", "thd", "margin_db", "margins_db", "ceiling_v", "ceiling_of", "harmonics")
        return Solution(parts[0].nodes, **{n: np.concatenate([getattr(p, n) for p in parts]) for n in names})

    @staticmethod
    def collect(
        wiring: Wiring,
        places: Sequence[CellPlace],
        cells: Sequence[Cell],
        states: Sequence[CellState],
        factors: Mapping[Node, Any],
        *,
        tone_hz: Floats,
        cases: int,
        harmonics: int = HARMONICS_KEPT,
        margins: bool = True,
    ) -> Solution:
        """Collect the nodes in `factors` from the cells, in signal order; margins are optional."""
        index = {place.key: i for i, place in enumerate(places)}
        columns = [
            _Column(node, wiring, index, cells, states, factor, tone_hz, cases, harmonics, margins)
            for node, factor in factors.items()
        ]
        return Solution(
            tuple(factors),
            rms_v=np.stack([c.rms_v for c in columns], axis=1),
            fundamental_v=np.stack([c.fundamental_v for c in columns], axis=1),
            thd=np.stack([c.thd for c in columns], axis=1),
            margin_db=np.stack([c.margin_db for c in columns], axis=1),
            margins_db=np.stack([c.margins_db for c in columns], axis=1),
            ceiling_v=np.stack([c.ceiling_v for c in columns], axis=1),
            ceiling_of=np.stack([c.ceiling_of for c in columns], axis=1),
            harmonics=np.stack([c.harmonics for c in columns], axis=1),
        )


class _Column:
    """One node, collected from its stage's cells."""

    def __init__(
        self,
        node: Node,
        wiring: Wiring,
        index: Mapping[tuple[str, Node | Port], int],
        cells: Sequence[Cell],
        states: Sequence[CellState],
        factor: Any,
        tone_hz: Floats,
        cases: int,
        harmonics: int,
        margins: bool,
    ) -> None:
        output = index["output", node]
        factor = np.broadcast_to(np.asarray(factor, dtype=np.float64), (cases,))
        wave = states[output].wave
        self.rms_v = wave.rms * factor
        self.thd = wave.thd
        self.harmonics = wave.harmonics(harmonics) * factor[:, None]
        self.fundamental_v = self.harmonics[:, 0] / np.sqrt(2)
        self.margin_db = self.ceiling_v = np.empty(0)
        self.margins_db = np.empty((0, 3))
        self.ceiling_of = np.empty(0, dtype=np.intp)
        if margins:
            self._margins(node, wiring, index, cells, states, factor, tone_hz, cases)

    def _margins(
        self,
        node: Node,
        wiring: Wiring,
        index: Mapping[tuple[str, Node | Port], int],
        cells: Sequence[Cell],
        states: Sequence[CellState],
        factor: Floats,
        tone_hz: Floats,
        cases: int,
    ) -> None:
        output = index["output", node]
        inside = index.get(("inside", node))
        ports = [index["port", route.port] for route in wiring.routes[node]]
        shape = cells[inside if inside is not None else output].response
        through = 1.0 if shape is None else np.abs(shape(np.reshape(tone_hz, (-1, 1)), slice(None)))[:, 0]
        gain = np.abs(np.broadcast_to(np.asarray(cells[output].gain, dtype=np.float64), (cases,))) * factor
        after = cells[output].response
        if inside is not None and after is not None:
            gain = gain * np.abs(after(np.reshape(tone_hz, (-1, 1)), slice(None)))[:, 0]
        shares = sum(abs(route.share) for route in wiring.routes[node])
        # (role, cells, gain of a sine from the cell to the node)
        ceilings = [(0, p, gain * through * shares) for p in ports]
        ceilings += [] if inside is None else [(1, inside, gain)]
        ceilings += [(2, output, factor)]
        margins, volts, roles = [], [], []
        for role, i, onward in ceilings:
            limit = np.broadcast_to(np.asarray(cells[i].ceiling, dtype=np.float64), (cases,))
            with np.errstate(divide="ignore"):
                margins.append(20 * np.log10(limit / states[i].peak))
            volts.append(limit * onward / np.sqrt(2))
            roles.append(role)
        first = np.argmin(np.stack(margins), axis=0)
        rows = np.arange(cases)
        self.margin_db = np.stack(margins)[first, rows]
        self.margins_db = np.full((cases, 3), np.inf)
        for role, margin in zip(roles, margins, strict=True):
            self.margins_db[:, role] = np.minimum(self.margins_db[:, role], margin)
        self.ceiling_v = np.stack(volts)[first, rows]
        self.ceiling_of = np.array(roles)[first]
