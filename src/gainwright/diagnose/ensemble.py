"""Samples of one chain under each hypothesis, solved together, once for each tone and setting.

All hypotheses share their samples (common random numbers), so that differences come from the causes, not from chance.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.diagnose.change import Change, combined
from gainwright.diagnose.changes import change_of
from gainwright.diagnose.unknown_gains import Noted, chain_with_unknown_gains, doubtful_positions, gain_positions
from gainwright.jobfile import controls, with_settings
from gainwright.quantities import latin_hypercube
from gainwright.solve import ABSENT_HIGH_PASS_HZ, ABSENT_LOW_PASS_HZ, Alteration, Conditions

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.diagnose.causes import Cause
    from gainwright.model import Node, Port
    from gainwright.solve import Chain, Solution

    Floats = npt.NDArray[np.float64]

HIDDEN = 3
"""Dimensions of a hypothesis's hidden amounts."""
_NEUTRAL = {
    "gain": 1.0,
    "ceiling": 1.0,
    "series_ohm": 0.0,
    "shorted": 0.0,
    "short_place": 0.5,
    "sign": 1.0,
    "load": 1.0,
    "low_pass_hz": ABSENT_LOW_PASS_HZ,
    "high_pass_hz": ABSENT_HIGH_PASS_HZ,
    "slope": 24.0,
    "crossed": 0.0,
    "taken": 0.0,
    "misrouted": 0.0,
}
"""The neutral value of each field of an alteration."""


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
        self.values = _never_muting(chain.draws(draws=draws, seed=seed, quick=True))
        self.hidden = latin_hypercube(draws=draws, dimensions=HIDDEN, seed=seed + 1)
        self.doubt = latin_hypercube(draws=draws, dimensions=8, seed=seed + 2)
        """Samples for instrument errors and stray voltages, shape (draws, 8); the observer assigns the columns."""
        self.unknown_gains: dict[str, Floats] = gain_positions(chain.job, draws=draws, seed=seed + 3)
        self.changes = [self._change(hypothesis) for hypothesis in self.hypotheses]
        self._touched = [change.touches(chain) for change in self.changes]
        self._chains: dict[tuple[tuple[str, str], ...], tuple[Chain, dict[str, Any]]] = {}
        self._solved: list[tuple[Stimulus, frozenset[Node], Solved]] = []
        self._whole: tuple[Ensemble, npt.NDArray[np.intp]] | None = None

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

    def solve(self, stimulus: Stimulus, targets: frozenset[Node]) -> Solved:
        """Return the levels at nodes under every hypothesis; only hypotheses that can differ there are solved."""
        stimulus = replace(stimulus, sets=self._moved(stimulus.sets))
        solved = self._known(stimulus, targets)
        if solved is None:
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
        alter = self._actions(stimulus)
        plain = self.chain.needed(targets, alter)
        needed = [
            # only with its own crossed or misrouted signals a hypothesis needs more nodes
            plain | self.chain.needed(targets, _with_actions(alter, change)) if change.crosses else plain
            for change in self.changes
        ]
        differ = [i for i, touched in enumerate(self._touched) if touched & needed[i]]
        row = np.zeros(len(self.changes), dtype=np.intp)
        row[differ] = np.arange(1, len(differ) + 1)
        altered = [Change(), *(self.changes[i] for i in differ)]
        chain, values = self.chain_with(stimulus.sets)
        tone_hz = self.tone_hz(stimulus)
        solution = chain.solve(
            Conditions(
                np.tile(tone_hz, len(altered)) if stimulus.octaves else tone_hz,
                stimulus.level_dbfs,
                values={p: np.tile(v, len(altered)) if np.size(v) > 1 else v for p, v in values.items()},
                settings=self._settings(chain, altered, dict(stimulus.sets)),
                unloaded=frozenset() if stimulus.speakers else self._speakers(),
                supply="running" if stimulus.running else "resting",
                alter=self._batch(altered, alter),
            ),
            targets=targets,
            harmonics=self.harmonics,
            margins=False,
        )
        return Solved(solution, row, self.draws)

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

    def _settings(self, chain: Chain, altered: list[Change], sets: dict[str, str]) -> dict[str, Any]:
        """Return the settings, in every case, of the controls that are unknown or doubtful, or that a hypothesis moves."""
        found = {gain: np.tile(at, len(altered)) for gain, at in self.unknown_gains.items() if gain not in sets}
        doubtful = doubtful_positions(chain.job, draws=self.draws, seed=self.seed + 4)
        found |= {gain: np.tile(at, len(altered)) for gain, at in doubtful.items()}
        for i, change in enumerate(altered):
            for control, places in change.settings.items():
                array = found.get(control)
                if array is None:
                    array = found[control] = np.full(len(altered) * self.draws, float(chain.settings[control]))
                array[i * self.draws : (i + 1) * self.draws] = places
        return found

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

    def _batch(self, altered: list[Change], actions: Alteration) -> Alteration:
        """Return the changes of all hypotheses, one block of draws after another, combined with the person's actions."""
        cases = len(altered) * self.draws
        found: dict[str, Any] = {name: {} for name in (*_NEUTRAL, "boost", "instead")}
        for name, neutral in _NEUTRAL.items():
            for key, mine in getattr(actions, name).items():
                found[name][key] = np.full(cases, _combined_value(name, neutral, mine))
        for i, change in enumerate(altered):
            rows = slice(i * self.draws, (i + 1) * self.draws)
            for name, neutral in _NEUTRAL.items():
                mine = getattr(actions, name)
                for key, value in getattr(change, name).items():
                    array = found[name].setdefault(key, None)
                    if array is None:
                        array = found[name][key] = np.full(cases, neutral, dtype=np.float64)
                    array[rows] = _combined_value(name, value, mine.get(key, neutral))
            for key, parts in change.boost.items():
                arrays = found["boost"].setdefault(key, (np.zeros(cases), np.full(cases, 1000.0)))
                for array, part in zip(arrays, parts, strict=True):
                    array[rows] = part
            found["instead"] |= change.instead
        return Alteration(**found, fed_v=actions.fed_v)


def _with_gains(chain: Chain, places: dict[str, float]) -> Chain:
    found = copy.copy(chain)
    found.settings = chain.settings | places
    return found


def _same(written: str, place: str) -> bool:
    """Return whether two settings of a control are the same: `30` and `30.0` are."""
    return written == place or written.removesuffix(".0") == place.removesuffix(".0")


def _never_muting(values: dict[str, Any]) -> dict[str, Any]:
    """Let every gain control pass at its minimum: a muted gain is a cause of its own."""
    return {path: 0.0 if path.endswith(".gain.mutes") else v for path, v in values.items()}


def _combined_value(name: str, theirs: Any, mine: Any) -> Any:
    """Combine a hypothesis with the person's actions: exchanging twice cancels, gains multiply."""
    if name == "crossed":
        return theirs + mine - 2 * theirs * mine
    return theirs * mine if name == "gain" else theirs


def _with_actions(actions: Alteration, change: Change) -> Alteration:
    return Alteration(
        fed_v=actions.fed_v,
        crossed={**actions.crossed, **change.crossed},
        taken=change.taken,
        misrouted=change.misrouted,
        instead=change.instead,
    )
