"""Samples of one chain under each hypothesis, solved together, once for each tone and setting.

All hypotheses share their samples (common random numbers), so that differences come from the causes, not from chance.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np

from gainwright.diagnose.change import Change, combined
from gainwright.diagnose.changes import change_of
from gainwright.diagnose.unknown_gains import Noted, chain_with_unknown_gains, doubtful_positions, gain_positions
from gainwright.jobfile import controls, with_settings
from gainwright.quantities import latin_hypercube
from gainwright.solve import NEUTRAL, Alteration, CaseBlock, CaseBlocks, Conditions

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.diagnose.causes import Cause
    from gainwright.model import Node, Port
    from gainwright.solve import Chain, Solution

    Floats = npt.NDArray[np.float64]

HIDDEN = 3
"""Dimensions of a hypothesis's hidden amounts."""
MOST_READY = 16
"""Sets of nodes and actions for which the hypotheses are kept ready to be solved; the oldest is dropped first."""
MOST_DRAWN = 8
_DRAWN: WeakKeyDictionary[Chain, dict[tuple[int, int], dict[str, Any]]] = WeakKeyDictionary()
"""The physical values of chains in use by draws and seed, so many of each chain: all ensembles with the same share them."""


@dataclass(frozen=True, slots=True)
class Stimulus:
    """The tone, and the state of the chain as far as it affects levels.

    Attributes
    ----------
    tone_hz, level_dbfs : of the tone.
    sets : controls set differently from the job, with their settings as a job file writes them, sorted.
    side : side of the recording with the tone.
    running : whether the engine runs.
    speakers : whether speakers are connected.
    fed : stage and volts of an external source, or None.
    swapped : stage or lead whose two sides are exchanged, or empty.
    octaves : over how many octaves about the tone it is spread in the draws, as the weight of music is.
    """

    tone_hz: float
    level_dbfs: float
    sets: tuple[tuple[str, str], ...] = ()
    side: str = "both"
    running: bool = True
    speakers: bool = True
    fed: tuple[str, float] | None = None
    swapped: str = ""
    octaves: float = 0.0


@dataclass(frozen=True, slots=True)
class Solved:
    """A solution for the hypotheses that differ, and the row of each hypothesis in it.

    Attributes
    ----------
    solution : cases are rows x draws.
    row : row of each hypothesis, shape (hypotheses,).
    draws : number of draws.
    """

    solution: Solution
    row: npt.NDArray[np.intp]
    draws: int

    def of(self, values: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Return per-case values by hypothesis, shape (hypotheses, draws)."""
        return values.reshape(-1, self.draws)[self.row]


class Ensemble:
    """Samples of a chain under each of several hypotheses.

    Parameters
    ----------
    hypotheses : each one or several simultaneous causes.
    draws, seed : of the physical values and the hidden amounts.
    harmonics : number kept in solutions; an average-responding meter needs 20.
    noted : positions of gains at the readings: a gain that is low stands lower than it was ever noted to stand, one that is high,
        higher; where there are none, than the job says.
    """

    def __init__(
        self,
        chain: Chain,
        hypotheses: Sequence[tuple[Cause, ...]],
        *,
        draws: int,
        seed: int,
        harmonics: int = 3,
        noted: Noted | None = None,
    ) -> None:
        self.chain = chain
        self._as_noted = {
            "gain_high": _with_gains(chain, {gain: low for gain, (low, _) in (noted or {}).items()}),
            "gain_low": _with_gains(chain, {gain: high for gain, (_, high) in (noted or {}).items()}),
        }
        self.hypotheses = tuple(hypotheses)
        self._written = controls(chain.job)
        self.draws = draws
        self.seed = seed
        self.harmonics = harmonics
        self.values = _values(chain, draws, seed)
        self.doubt = latin_hypercube(draws=draws, dimensions=8, seed=seed + 2)
        """Samples for instrument errors and stray voltages, shape (draws, 8); the observer assigns the columns."""
        self.unknown_gains: dict[str, Floats] = gain_positions(chain.job, draws=draws, seed=seed + 3)
        self._use(latin_hypercube(draws=draws, dimensions=HIDDEN, seed=seed + 1))
        self._blocks: dict[tuple[Any, ...], tuple[CaseBlocks, npt.NDArray[np.intp]]] = {}
        self._ways: dict[tuple[Any, ...], tuple[Alteration, frozenset[tuple[str, Any]]]] = {}
        self._chains: dict[tuple[tuple[str, str], ...], tuple[Chain, dict[str, Any]]] = {}
        self._solved: list[tuple[Stimulus, frozenset[Node], Solved]] = []
        self._whole: tuple[Ensemble, npt.NDArray[np.intp]] | None = None

    def _use(self, hidden: Floats) -> None:
        """Make the changes of every hypothesis with some hidden amounts, shape (draws, HIDDEN)."""
        self.hidden = hidden
        self.changes = [self._change(hypothesis) for hypothesis in self.hypotheses]
        self._touched = [change.touches(self.chain) for change in self.changes]
        self._alterations = [_alteration(change) for change in self.changes]
        self._all_changes = self.changes
        self._sound: dict[Stimulus, dict[Node, Floats]] = {}
        self._sound_chains: dict[tuple[Any, ...], CaseBlocks] = {}

    @property
    def solutions(self) -> int:
        """The number of cached solutions."""
        return len(self._solved)

    def of_some(self, rows: npt.NDArray[np.intp]) -> Ensemble:
        """Return the samples of some of the hypotheses alone, which are the same; what is solved here is known there, too."""
        found = copy.copy(self)
        found.hypotheses = tuple(self.hypotheses[i] for i in rows)
        found.changes = [self.changes[i] for i in rows]
        found._touched = [self._touched[i] for i in rows]
        found._alterations = [self._alterations[i] for i in rows]
        found._blocks = {}
        found._solved = []
        found._whole = self, rows
        return found

    def _change(self, hypothesis: tuple[Cause, ...]) -> Change:
        found = Change()
        for i, cause in enumerate(hypothesis):
            chain = self._as_noted.get(cause.id, self.chain)
            change = change_of(cause, chain, np.roll(self.hidden, i, axis=1))
            found = change if i == 0 else combined(found, change)
        return found

    def solve(self, stimulus: Stimulus, wanted: frozenset[Node], beside: frozenset[Node] = frozenset()) -> Solved:
        """Return the levels at nodes under every hypothesis; only hypotheses that can differ there are solved.

        `beside` are nodes that will be asked for next: they are solved too where the wanted ones aren't known.
        """
        stimulus = replace(stimulus, sets=self._moved(stimulus.sets))
        solved = self._known(stimulus, wanted)
        if solved is None:
            targets = wanted | beside
            solved = self._solve(stimulus, targets)
            self._solved.append((stimulus, targets, solved))
        return solved

    def _known(self, stimulus: Stimulus, targets: frozenset[Node]) -> Solved | None:
        """Return what was solved before, here or for the hypotheses that these are some of."""
        for solved_for, nodes, solved in self._solved:
            if solved_for == stimulus and targets <= nodes:
                return solved
        if self._whole is None:
            return None
        whole, rows = self._whole
        found = whole._known(stimulus, targets)
        return None if found is None else replace(found, row=found.row[rows])

    def tone_hz(self, stimulus: Stimulus) -> Any:
        """Return the frequency of a stimulus, Hz; of one spread over octaves in each draw, shape (draws,)."""
        if not stimulus.octaves:
            return stimulus.tone_hz
        return stimulus.tone_hz * 2 ** (stimulus.octaves * (self.doubt[:, 6] - 0.5))

    def _solve(self, stimulus: Stimulus, targets: frozenset[Node]) -> Solved:
        blocks, row = self._blocks_for(stimulus, targets)
        return Solved(blocks.solve(self._conditions(stimulus), harmonics=self.harmonics), row, self.draws)

    def _conditions(self, stimulus: Stimulus) -> Conditions:
        return Conditions(
            self.tone_hz(stimulus),
            stimulus.level_dbfs,
            unloaded=frozenset() if stimulus.speakers else self._speakers(),
            supply="running" if stimulus.running else "resting",
        )

    def _blocks_for(self, stimulus: Stimulus, targets: frozenset[Node]) -> tuple[CaseBlocks, npt.NDArray[np.intp]]:
        """Return the hypotheses that differ at some nodes, ready to be solved with any tone, and the block of each of all."""
        actions, plain = self._played(stimulus, targets)
        left_on = self._left_on(stimulus, plain)
        told = tuple((i, *(mask.tobytes() for mask in off.values())) for i, off in left_on.items())
        key = (stimulus.sets, stimulus.side, stimulus.fed, stimulus.swapped, targets, told)
        if key in self._blocks:
            return self._blocks[key]
        alterations = list(self._alterations)
        for i, off in left_on.items():
            alterations[i] = replace(alterations[i], gain=self.changes[i].gains(off))
        each = [_with_actions(actions, alter) for alter in alterations]
        needed = [
            # only with its own crossed or misrouted signals a hypothesis needs more nodes
            plain | self.chain.needed(targets, alter) if change.crosses else plain
            for change, alter in zip(self.changes, each, strict=True)
        ]
        differ = [i for i, touched in enumerate(self._touched) if touched & needed[i]]
        row = np.zeros(len(self.changes), dtype=np.intp)
        row[differ] = np.arange(1, len(differ) + 1)
        chain, values = self.chain_with(stimulus.sets)
        blocks = CaseBlocks(
            chain,
            [
                CaseBlock(actions, {}, frozenset()),
                *(CaseBlock(each[i], self.changes[i].settings, self._touched[i]) for i in differ),
            ],
            draws=self.draws,
            values=values,
            settings=self._settings(chain, dict(stimulus.sets)),
            targets=targets,
        )
        if len(self._blocks) >= MOST_READY:
            self._blocks.pop(next(iter(self._blocks)))
        self._blocks[key] = blocks, row
        return blocks, row

    def _played(self, stimulus: Stimulus, targets: frozenset[Node]) -> tuple[Alteration, frozenset[tuple[str, Any]]]:
        """Return the person's actions, and the keys of the cells that some nodes need with them."""
        key = (stimulus.side, stimulus.fed, stimulus.swapped, targets)
        if key not in self._ways:
            actions = self._actions(stimulus)
            self._ways[key] = actions, self.chain.needed(targets, actions)
        return self._ways[key]

    def _left_on(self, stimulus: Stimulus, needed: frozenset[tuple[str, Any]]) -> dict[int, dict[Node, Any]]:
        """Return when chassis switch themselves off, of the hypotheses under which a tone leaves some on; music drives all.

        The current into the load must be that of the load at which they do, at full power. Hypotheses that change nothing at
        the needed cells don't matter.
        """
        if stimulus.octaves:
            return {}
        found = {}
        for i, change in enumerate(self.changes):
            if change.trips and (change.crosses or self._touched[i] & needed):
                volts = self._sound_v(stimulus, frozenset(change.trips))
                off = {node: trip.can & (volts[node] > trip.from_v) for node, trip in change.trips.items()}
                if any(np.any(off[node] != trip.can) for node, trip in change.trips.items()):
                    found[i] = off
        return found

    def _sound_v(self, stimulus: Stimulus, ends: frozenset[Node]) -> dict[Node, Floats]:
        """Return the rms at some outputs in the sound chain, shape (draws,) each; solved for those of their stages at once."""
        known = self._sound.setdefault(stimulus, {})
        if not ends <= known.keys():
            stages = {node.stage for node in ends}
            ends = frozenset(n for change in self._all_changes for n in change.trips if n.stage in stages)
            key = (stimulus.sets, stimulus.side, stimulus.fed, stimulus.swapped, ends)
            if key not in self._sound_chains:
                chain, values = self.chain_with(stimulus.sets)
                first = CaseBlock(self._actions(stimulus), {}, frozenset())
                settings = self._settings(chain, dict(stimulus.sets))
                self._sound_chains[key] = CaseBlocks(
                    chain, [first], draws=self.draws, values=values, settings=settings, targets=ends
                )
            solution = self._sound_chains[key].solve(self._conditions(stimulus), harmonics=self.harmonics)
            known |= {node: solution.rms_at(solution.index(node)) for node in ends}
        return known

    def _speakers(self) -> frozenset[str]:
        return frozenset(name for name, stage in self.chain.job.stages.items() if stage.kind == "speaker")

    def _moved(self, sets: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
        """Return the controls that are set differently from the job."""
        return tuple((control, place) for control, place in sets if not _same(self._written.get(control, ""), place))

    def chain_with(self, sets: tuple[tuple[str, str], ...]) -> tuple[Chain, dict[str, Any]]:
        """Return the chain with the given settings, and its samples; only values that a setting changes are drawn anew."""
        sets = self._moved(sets)
        if sets not in self._chains:
            if not sets:
                self._chains[sets] = self.chain, self.values
            else:
                chain = chain_with_unknown_gains(with_settings(self.chain.job, dict(sets)))
                own = _never_muting(chain.draws(draws=self.draws, seed=self.seed, quick=True))
                old = self.chain.facts
                same = {p for p, fact in chain.facts.items() if p in old and old[p].quantity == fact.quantity}
                self._chains[sets] = chain, {p: self.values[p] if p in same else v for p, v in own.items()}
        return self._chains[sets]

    def stands(self, control: str) -> Floats:
        """Return the position of an unknown gain under every hypothesis, shape (hypotheses, draws)."""
        rows = [
            np.broadcast_to(c.settings.get(control, self.unknown_gains[control]), (self.draws,)) for c in self.changes
        ]
        return np.stack(rows)

    def _settings(self, chain: Chain, sets: dict[str, str]) -> dict[str, Any]:
        """Return the settings of the controls that are unknown or doubtful, shape (draws,) each."""
        found: dict[str, Any] = {gain: at for gain, at in self.unknown_gains.items() if gain not in sets}
        return found | doubtful_positions(chain.job, draws=self.draws, seed=self.seed + 4)

    def _actions(self, stimulus: Stimulus) -> Alteration:
        """Return the person's actions as an alteration: side played, stage fed, sides exchanged."""
        gain: dict[Node, float] = {}
        fed: dict[Port, float] = {}
        crossed: dict[Port, float] = {}
        if stimulus.side != "both":
            for node in self.chain.nodes:
                if not self.chain.wiring.routes[node]:
                    shares = {stimulus.side: 1.0, "mono": 0.5}
                    gain[node] = shares.get(node.side, 0.0)
        if stimulus.fed is not None:
            fed = dict.fromkeys(self.chain.wiring.ports(stimulus.fed[0]), stimulus.fed[1])
        if stimulus.swapped and not stimulus.swapped.startswith("lead:"):
            crossed = {
                port: 1.0 for port in self.chain.wiring.ports(stimulus.swapped) if port.side in ("left", "right")
            }
        return Alteration(gain=gain, fed_v=fed, crossed=crossed)


def _with_gains(chain: Chain, places: dict[str, float]) -> Chain:
    found = copy.copy(chain)
    found.settings = chain.settings | places
    return found


def _same(written: str, place: str) -> bool:
    """Return whether two settings of a control are the same: `30` and `30.0` are."""
    return written == place or written.removesuffix(".0") == place.removesuffix(".0")


def _values(chain: Chain, draws: int, seed: int) -> dict[str, Any]:
    """Return the physical values of a chain in each draw, drawn once."""
    known = _DRAWN.setdefault(chain, {})
    found = known.get((draws, seed))
    if found is None:
        found = _never_muting(chain.draws(draws=draws, seed=seed, quick=True))
        if len(known) >= MOST_DRAWN:
            known.pop(next(iter(known)))
        known[draws, seed] = found
    return found


def _never_muting(values: dict[str, Any]) -> dict[str, Any]:
    """Let every gain control pass at its minimum: a muted gain is a cause of its own."""
    return {path: 0.0 if path.endswith(".gain.mutes") else v for path, v in values.items()}


def _alteration(change: Change) -> Alteration:
    found = {name: getattr(change, name) for name in (*NEUTRAL, "boost", "instead")}
    return Alteration(**{**found, "gain": change.gains()})


def _with_actions(actions: Alteration, alter: Alteration) -> Alteration:
    """Return a hypothesis's changes with the person's actions: exchanging twice cancels, gains multiply."""
    if not (actions.gain or actions.crossed or actions.fed_v):
        return alter
    gain, crossed = dict(actions.gain), dict(actions.crossed)
    for node, theirs in alter.gain.items():
        gain[node] = theirs * gain.get(node, 1.0)
    for port, theirs in alter.crossed.items():
        mine = crossed.get(port, 0.0)
        crossed[port] = theirs + mine - 2 * theirs * mine
    return replace(alter, gain=gain, crossed=crossed, fed_v=actions.fed_v)
