"""Many cases of one chain that are alike at most of its cells, solved at each cell only where they differ.

The cases are blocks of the same draws. The first block is the chain under some conditions; each other one deviates from it
at a few cells, and is the same as the first at every cell that isn't one of these or behind one. A fault of one amplifier,
for example, changes nothing at the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.solve.alteration import Alteration, entries_of, joined
from gainwright.solve.solution import NodeColumn, Solution
from gainwright.solve.steady_state import IDLE, Cell, run
from gainwright.solve.wave import TakenCases

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.model import Node, Port
    from gainwright.solve.chain import Chain, Conditions
    from gainwright.solve.loads import Loading
    from gainwright.solve.solution import CellPlace
    from gainwright.solve.steady_state import Response

    Floats = npt.NDArray[np.float64]
    Rows = npt.NDArray[np.intp]
    Key = tuple[str, Node | Port]
    Some = tuple[int, ...]

CASES_AT_ONCE = 5120
"""Cases of the blocks that are solved together, so that memory doesn't grow with their number."""


@dataclass(frozen=True, slots=True)
class CaseBlock:
    """What one block has otherwise than the first, whose own actions are in `alter` too.

    Attributes
    ----------
    alter : deviations from the job, each a scalar or of shape (draws,).
    settings : control path -> scalar or (draws,), where they aren't those of the first block.
    touched : keys of the cells that they change directly.
    """

    alter: Alteration
    settings: Mapping[str, Any]
    touched: frozenset[Key]


class _Repeated(Mapping[str, Any]):
    """Numbers of some blocks: those of the first one again and again, but for the blocks that have their own."""

    def __init__(self, first: Mapping[str, Any], own: Sequence[Mapping[str, Any]], draws: int) -> None:
        self._first, self._own, self._draws = first, own, draws
        self._deviating = {key for each in own for key in each}
        self._found: dict[str, Any] = {}

    def __getitem__(self, key: str) -> Any:
        if key in self._found:
            return self._found[key]
        value = self._first[key]
        if key in self._deviating:
            value = np.concatenate([np.broadcast_to(each.get(key, value), (self._draws,)) for each in self._own])
        elif np.size(value) > 1 and len(self._own) > 1:
            value = np.tile(value, len(self._own))
        self._found[key] = value
        return value

    def get(self, key: str, default: Any = None) -> Any:
        """Return the number of a key, or what is given instead."""
        return self[key] if key in self._first else default

    def __contains__(self, key: object) -> bool:
        return key in self._first

    def __iter__(self) -> Any:
        return iter(self._first)

    def __len__(self) -> int:
        return len(self._first)


class _Spread:
    """The response of the blocks that deviate at a cell, for all blocks that differ there."""

    def __init__(self, of: Response, index: Rows) -> None:
        self._of, self._index = of, index

    def __call__(self, frequency_hz: Floats, rows: Any = slice(None)) -> npt.NDArray[np.complex128]:
        """Return H at frequencies of shape (rows or 1, harmonics)."""
        needed, first, again = np.unique(self._index[rows], return_index=True, return_inverse=True)
        found = self._of(frequency_hz if len(frequency_hz) == 1 else frequency_hz[first], needed)
        return found if len(found) == 1 else found[again]


@dataclass(frozen=True, slots=True)
class _CellPlan:
    """What doesn't depend on the tone at one cell.

    Attributes
    ----------
    own, differing : the blocks whose numbers deviate there, and those whose signal differs there, each with the first.
    takes : of each input.
    wide : the row of each differing case among the deviating ones, None where they are the same.
    """

    own: Some
    differing: Some
    takes: tuple[TakenCases, ...]
    wide: Rows | None

    def widened(self, value: Any) -> Any:
        """Return a cell's number for all blocks that differ there."""
        return value if self.wide is None or np.size(value) == 1 else np.asarray(value)[self.wide]


class CaseBlocks:
    """Blocks of one chain, to be solved at some nodes with any tone.

    Parameters
    ----------
    blocks : the first and the others.
    values, settings : of the first, scalars or of shape (draws,); missing ones as in `Conditions`.
    """

    def __init__(
        self,
        chain: Chain,
        blocks: Sequence[CaseBlock],
        *,
        draws: int,
        values: Mapping[str, Any],
        settings: Mapping[str, Any],
        targets: frozenset[Node],
    ) -> None:
        at_once = max(1, CASES_AT_ONCE // draws - 1)
        values, settings = {**chain.nominal(), **values}, {**chain.settings, **settings}
        self._parts = [
            _Part(chain, [blocks[0], *blocks[i : i + at_once]], draws, values, settings, targets)
            for i in range(1, max(len(blocks), 2), at_once)
        ]
        self._draws = draws

    def solve(self, conditions: Conditions, *, harmonics: int) -> Solution:
        """Return the solution, whose cases are blocks times draws; margins aren't kept.

        Parameters
        ----------
        conditions : tone, level and state; `tone_hz` a scalar or of shape (draws,), `level_dbfs` a scalar, no alterations.
        """
        found = []
        for i, part in enumerate(self._parts):
            columns = part.columns(conditions, harmonics)
            for column in columns.values():
                column.drop(self._draws if i else 0)
            found.append(Solution(tuple(columns), [list(columns.values())]))
        return Solution.join(found)


class _Part:
    """Some of the blocks, which are solved together."""

    def __init__(
        self,
        chain: Chain,
        blocks: Sequence[CaseBlock],
        draws: int,
        values: Mapping[str, Any],
        settings: Mapping[str, Any],
        targets: frozenset[Node],
    ) -> None:
        self._chain, self._blocks, self._draws = chain, blocks, draws
        self._values, self._stand, self._targets = values, settings, targets
        self._entries = [entries_of(b.alter) for b in blocks]
        self._touching: dict[Key, list[int]] = {}
        for b, block in enumerate(blocks):
            for key in block.touched:
                self._touching.setdefault(key, []).append(b)
        self._numbers: dict[Some, tuple[_Repeated, _Repeated, Alteration]] = {}
        needed = chain.needed(targets, _ways([b.alter for b in blocks]))
        self._plans: dict[int, _CellPlan] = {}
        for i, place in enumerate(chain.places):
            if place.key in needed:
                self._plans[i] = self._planned(place)
        every = tuple(range(len(blocks)))
        self._columns = {
            i: self._rows(plan.differing, every)
            for i, plan in self._plans.items()
            if chain.places[i].role == "output" and chain.places[i].at in targets
        }

    def columns(self, conditions: Conditions, harmonics: int) -> dict[Node, NodeColumn]:
        """Return the signal of the targets in every case, in signal order."""
        loadings: dict[Some, tuple[Loading, Conditions]] = {}
        cells = [
            self._cell(place, self._plans[i], conditions, loadings) if i in self._plans else IDLE
            for i, place in enumerate(self._chain.places)
        ]
        tone_hz = np.atleast_1d(np.asarray(conditions.tone_hz, dtype=np.float64))
        peak = np.atleast_1d(10 ** (np.asarray(conditions.level_dbfs, dtype=np.float64) / 20))
        states = run(cells, tone_hz=tone_hz, source_peak=peak)
        found: dict[Node, NodeColumn] = {}
        for i, rows in self._columns.items():
            plan, node = self._plans[i], self._chain.places[i].at
            factor = plan.widened(loadings[plan.own][0].node_factor(node))  # type: ignore[arg-type]
            factor = np.broadcast_to(factor, (len(plan.differing) * self._draws,))
            found[node] = NodeColumn(states[i].wave, factor, harmonics, None, rows)  # type: ignore[index]
        return found

    def _cell(
        self,
        place: CellPlace,
        plan: _CellPlan,
        conditions: Conditions,
        loadings: dict[Some, tuple[Loading, Conditions]],
    ) -> Cell:
        """Return a cell in the blocks that differ there."""
        values, stand, alter = self._numbers_of(plan.own)
        if plan.own not in loadings:
            tone_hz = (
                conditions.tone_hz if np.size(conditions.tone_hz) == 1 else np.tile(conditions.tone_hz, len(plan.own))
            )
            here = replace(conditions, alter=alter, tone_hz=tone_hz)
            loadings[plan.own] = self._chain.loading(values, here), here
        loading, here = loadings[plan.own]
        cell = self._chain.cell(place, values, stand, loading, here)
        shape = cell.response
        return Cell(
            [(j, plan.widened(factor)) for j, factor in cell.inputs],
            shape if shape is None or plan.wide is None else _Spread(shape, plan.wide),
            plan.widened(cell.gain),
            plan.widened(cell.distortion),
            plan.widened(cell.ceiling),
            soft=plan.widened(cell.soft),
            takes=plan.takes,
            cases=len(plan.differing) * self._draws,
        )

    def _planned(self, place: CellPlace) -> _CellPlan:
        chain, found = self._chain, {0}
        for key in chain.depends_on(place, self._blocks[0].alter):
            found.update(self._touching.get(key, ()))
        own = tuple(sorted(found))
        usual = {j for j, _ in chain.sources(place.key, self._blocks[0].alter)}
        differing = tuple(sorted({*own, *(b for j in usual for b in self._plans[j].differing)}))
        otherwise = {b: chain.sources(place.key, self._blocks[b].alter) for b in own if _crosses(self._blocks[b].alter)}
        takes = []
        for j, _ in chain.sources(place.key, self._numbers_of(own)[2]):
            # what only some blocks take from elsewhere
            some = (
                differing if j in usual else tuple(b for b, ways in otherwise.items() if any(k == j for k, _ in ways))
            )
            at = None if some == differing else self._rows(differing, some)
            before = self._plans[j].differing
            takes.append(TakenCases(None if before == some else self._rows(before, some), at))
        return _CellPlan(own, differing, tuple(takes), None if own == differing else self._rows(own, differing))

    def _numbers_of(self, own: Some) -> tuple[_Repeated, _Repeated, Alteration]:
        """Return values, settings and deviations of some blocks."""
        if own not in self._numbers:
            values = _Repeated(self._values, [{}] * len(own), self._draws)
            stand = _Repeated(self._stand, [self._blocks[b].settings for b in own], self._draws)
            alter = self._blocks[0].alter
            if own != (0,):
                alter = joined([self._entries[b] for b in own], draws=self._draws, fed_v=alter.fed_v)
            self._numbers[own] = values, stand, alter
        return self._numbers[own]

    def _rows(self, among: Some, blocks: Some) -> Rows:
        """Return the row of each case of some blocks among those of others, in which one that isn't there is as the first."""
        place = {b: k for k, b in enumerate(among)}
        first = np.array([place.get(b, 0) for b in blocks], dtype=np.intp)
        return np.asarray((first[:, None] * self._draws + np.arange(self._draws)).reshape(-1))


def _crosses(alter: Alteration) -> bool:
    return bool(alter.crossed or alter.taken or alter.misrouted)


def _ways(each: Sequence[Alteration]) -> Alteration:
    """Return an alteration by which all signals go the ways that they go in any of some."""
    found: dict[str, dict[Any, Any]] = {"crossed": {}, "taken": {}, "misrouted": {}, "instead": {}, "fed_v": {}}
    for alter in each:
        if _crosses(alter) or alter.fed_v:
            for name in found:
                found[name] |= getattr(alter, name)
    return Alteration(**found)
