"""The result of a solve: every node's level, distortion, margin and ceiling in every case."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    import numpy.typing as npt

    from gainwright.model import Node, Port, Wiring
    from gainwright.solve.steady_state import Cell, CellState
    from gainwright.solve.wave import Wave

    Floats = npt.NDArray[np.float64]
    Complexes = npt.NDArray[np.complex128]
    Rows = npt.NDArray[np.intp]

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


class Solution:
    """Steady state of every node, shape (cases, nodes) each unless said otherwise; worked out when it is asked for.

    Attributes
    ----------
    nodes : output nodes in signal order.
    """

    def __init__(self, nodes: tuple[Node, ...], chunks: Sequence[Sequence[NodeColumn]]) -> None:
        self.nodes = nodes
        self._chunks = chunks

    def index(self, node: Node) -> int:
        """Return the column of a node."""
        return self.nodes.index(node)

    @staticmethod
    def join(parts: Sequence[Solution]) -> Solution:
        """Join chunks of cases."""
        return parts[0] if len(parts) == 1 else Solution(parts[0].nodes, [c for part in parts for c in part._chunks])

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
        """Collect the nodes in `factors` from the cells, in signal order; without `margins`, nothing of ceilings is kept."""
        index = {place.key: i for i, place in enumerate(places)}
        columns = []
        for node, given in factors.items():
            factor = np.broadcast_to(np.asarray(given, dtype=np.float64), (cases,))
            ceilings = _Ceilings(node, wiring, index, cells, states, factor, tone_hz) if margins else None
            columns.append(NodeColumn(states[index["output", node]].wave, factor, harmonics, ceilings))
        return Solution(tuple(factors), [columns])

    def _stacked(self, of: Callable[[NodeColumn], Any]) -> Any:
        parts = [np.stack([of(column) for column in columns], axis=1) for columns in self._chunks]
        return parts[0] if len(parts) == 1 else np.concatenate(parts)

    @cached_property
    def rms_v(self) -> Floats:
        """Volts rms of the signal with its harmonics, without noise."""
        return np.asarray(self._stacked(lambda c: c.rms_v))

    @cached_property
    def fundamental_v(self) -> Complexes:
        """Complex rms phasor of the fundamental, volts."""
        return np.asarray(self._stacked(lambda c: c.fundamental_v))

    @cached_property
    def thd(self) -> Floats:
        """Harmonics over fundamental, as a ratio; NaN where no signal passes."""
        return np.asarray(self._stacked(lambda c: c.thd))

    @cached_property
    def harmonics(self) -> Complexes:
        """Peak phasors, shape (cases, nodes, requested harmonics), volts."""
        return np.asarray(self._stacked(lambda c: c.harmonics))

    def rms_at(self, column: int) -> Floats:
        """Return volts rms at one node, shape (cases,)."""
        return _whole([columns[column].rms_v for columns in self._chunks])

    def thd_at(self, column: int) -> Floats:
        """Return the distortion of one node, shape (cases,)."""
        return _whole([columns[column].thd for columns in self._chunks])

    def fundamental_at(self, column: int) -> Complexes:
        """Return the phasor of the fundamental at one node, shape (cases,)."""
        return _whole([columns[column].fundamental_v for columns in self._chunks])

    def harmonics_at(self, column: int) -> Complexes:
        """Return the same of one node, shape (cases, harmonics), without keeping those of all nodes, which may be a gigabyte."""
        return np.asarray(np.concatenate([columns[column].harmonics for columns in self._chunks]))

    @cached_property
    def margins_db(self) -> Floats:
        """Margin to each ceiling, shape (cases, nodes, 3): input, inside, output; infinite where there is none."""
        with np.errstate(divide="ignore"):
            return np.asarray(20 * np.log10(self._stacked(lambda c: _asked(c.ceilings).ratios)))

    @cached_property
    def margin_db(self) -> Floats:
        """Margin of the stage to the lowest of its ceilings; negative when it clips."""
        return np.asarray(np.min(self.margins_db, axis=2))

    @cached_property
    def _lowest(self) -> tuple[Any, Any]:
        found = [[_asked(c.ceilings).lowest for c in columns] for columns in self._chunks]
        volts, which = ([np.stack([each[i] for each in chunk], axis=1) for chunk in found] for i in (0, 1))
        return np.concatenate(volts), np.concatenate(which)

    @cached_property
    def ceiling_v(self) -> Floats:
        """Rms of the largest clean sine at the node, by the lowest ceiling of its stage."""
        return np.asarray(self._lowest[0])

    @cached_property
    def ceiling_of(self) -> npt.NDArray[np.intp]:
        """Which ceiling that is: 0 input, 1 inside, 2 output."""
        return np.asarray(self._lowest[1])


def _whole(parts: Sequence[npt.NDArray[Any]]) -> npt.NDArray[Any]:
    return parts[0] if len(parts) == 1 else np.concatenate(parts)


def _asked(ceilings: _Ceilings | None) -> _Ceilings:
    assert ceilings is not None, "solved without margins"  # noqa: S101  a mistake of ours
    return ceilings


class NodeColumn:
    """The signal of one node; holds no more of its wave than is asked for.

    Parameters
    ----------
    rows : the row of each case in the wave; None where the wave has all of them.
    """

    def __init__(
        self, wave: Wave, factor: Floats, harmonics: int, ceilings: _Ceilings | None, rows: Rows | None = None
    ) -> None:
        self._wave = wave.first(harmonics)
        self._factor = factor
        self._count = harmonics
        self._rows = rows
        self.ceilings = ceilings

    def drop(self, cases: int) -> None:
        """Leave out the first cases."""
        self._rows = None if self._rows is None else self._rows[cases:]

    def _each(self, values: npt.NDArray[Any]) -> npt.NDArray[Any]:
        return values if self._rows is None else values[self._rows]

    @cached_property
    def rms_v(self) -> Floats:
        """Volts rms in every case."""
        return self._each(self._wave.rms * self._factor)

    @cached_property
    def thd(self) -> Floats:
        """Harmonics over fundamental in every case."""
        return self._each(self._wave.thd)

    @cached_property
    def fundamental_v(self) -> Complexes:
        """Complex rms phasor of the fundamental in every case."""
        return self._each(np.asarray(self._wave.few[:, 0] * self._factor / np.sqrt(2)))

    @property
    def harmonics(self) -> Complexes:
        """Peak phasors in every case, shape (cases, harmonics)."""
        return self._each(np.asarray(self._wave.harmonics(self._count) * self._factor[:, None]))


class _Ceilings:
    """The ceilings of one node's stage, and how far below them it stays."""

    def __init__(
        self,
        node: Node,
        wiring: Wiring,
        index: Mapping[tuple[str, Node | Port], int],
        cells: Sequence[Cell],
        states: Sequence[CellState],
        factor: Floats,
        tone_hz: Floats,
    ) -> None:
        output, inside = index["output", node], index.get(("inside", node))
        places = [(0, index["port", route.port]) for route in wiring.routes[node]]
        places += [(2, output)] if inside is None else [(1, inside), (2, output)]
        self._of = [(role, cells[i].ceiling, states[i].peak) for role, i in places]
        self._output, self._inside = cells[output], None if inside is None else cells[inside]
        self._shares = sum(abs(route.share) for route in wiring.routes[node])
        self._factor, self._tones = factor, np.reshape(tone_hz, (-1, 1))

    @property
    def ratios(self) -> Floats:
        """Return each ceiling over the peak before it, shape (cases, 3); infinite where there is none."""
        found = np.full((len(self._factor), 3), np.inf)
        with np.errstate(divide="ignore"):
            for role, ceiling, peak in self._of:
                np.minimum(found[:, role], ceiling / peak, out=found[:, role])
        return found

    @property
    def lowest(self) -> tuple[Floats, npt.NDArray[np.intp]]:
        """Return the rms at the node of the largest sine that passes the lowest ceiling, and which ceiling that is."""
        gain = np.abs(self._output.gain) * self._factor
        if self._inside is not None:
            gain = gain * self._passed(self._output)
        through = self._passed(self._output if self._inside is None else self._inside)
        onward = (gain * through * self._shares, gain, self._factor)
        with np.errstate(divide="ignore"):
            margins = np.stack([20 * np.log10(ceiling / peak) for _, ceiling, peak in self._of])
        first = np.argmin(margins, axis=0)
        volts = np.stack([ceiling * onward[role] / np.sqrt(2) for role, ceiling, _ in self._of])
        return volts[first, np.arange(len(first))], np.array([role for role, *_ in self._of])[first]

    def _passed(self, cell: Cell) -> Floats | float:
        return 1.0 if cell.response is None else np.abs(cell.response(self._tones, slice(None)))[:, 0]
