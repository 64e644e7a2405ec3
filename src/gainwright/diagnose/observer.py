"""Predictions of observations: the reading of every draw, or the probability of each answer, under each hypothesis.

Levels are in dB re 1 V. The probabilities that an entry of a kind is simply wrong (a misread range, a misheard tone,
the wrong lead) are common practice, no published source.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.diagnose.unknown_gains import STAGE_DB, stage_doubts
from gainwright.model import Indicator, Multimeter, Recorder, describe_marks, gives_power
from gainwright.solve import (
    Loading,
    accuracy_of,
    grounded_nodes,
    meter_value,
    monitored_value,
    recorder_full_scale_v,
    resolution_v,
)
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from gainwright.diagnose.ensemble import Ensemble, Solved, Stimulus
    from gainwright.model import Instrument, Node

    Floats = npt.NDArray[np.float64]

QUIET_V, QUIET_POWER_V = 1.5e-3, 30e-3
"""Up to this a reading means nothing: hum, noise, a hand on the probe (line level; amplifier and speaker level)."""
STRAY_V, STRAY_POWER_V = (2e-6, 1e-3), (1e-5, 3e-2)
"""What an instrument picks up in addition to the tone, volts rms (line level; amplifier and speaker level)."""
STRAY_SEEN = 0.02
"""Probability that more than the quiet bound is picked up where there is no signal."""
MODEL_DB = 0.15
"""Standard deviation of the model's own error in one reading."""
BEYOND_DB = 3.0
MARKS_WRONG = 0.015
"""How often an indicator is read completely wrong (common practice, no published source)."""
THD_EDGE = 0.15
"""Standard deviation of the natural logarithm of a recorder's THD: error of the measurement and of the model together."""


@dataclass(frozen=True, slots=True)
class DrawnLevels:
    """The readings of an instrument at a node under every hypothesis.

    Attributes
    ----------
    shown_db : predicted reading in dB re 1 V, shape (hypotheses, draws).
    quiet : whether that counts as no signal, same shape.
    thd : predicted, as a ratio, same shape; NaN where there is no signal.
    quiet_v : the bound below which a reading counts as no signal.
    digit_v : last digit of the instrument in that range.
    signal_v : what the tone alone gives there, shape (hypotheses, draws).
    stray_v : ends of what is picked up besides.
    chances : what was worked out from these by name, shape (..., hypotheses, draws); kept, since tests are weighed again and again.
    """

    shown_db: Floats
    quiet: npt.NDArray[np.bool_]
    thd: Floats
    quiet_v: float
    digit_v: float
    signal_v: Floats
    stray_v: tuple[float, float]
    chances: dict[str, Floats] = field(default_factory=dict, compare=False)

    def kept(self, name: str, make: Callable[[], Floats]) -> Floats:
        """Return chances that were worked out before, or make and keep them."""
        found = self.chances.get(name)
        if found is None:
            found = self.chances[name] = make()
            found.flags.writeable = False
        return found

    def of_some(self, rows: npt.NDArray[np.intp]) -> DrawnLevels:
        """Return those of some of the hypotheses."""
        each: dict[str, Any] = {
            name: np.take(getattr(self, name), rows, axis=0) for name in ("shown_db", "quiet", "thd", "signal_v")
        }
        chances = {name: np.take(chance, rows, axis=-2) for name, chance in self.chances.items()}
        return replace(self, chances=chances, **each)


class Observer:
    """An ensemble seen through its instruments.

    Parameters
    ----------
    learning : whether readings are to teach the numbers of the chain: what they differ by is then theirs.
    whole : the observer of the same draws of more hypotheses, and the rows of these there: what is known there isn't worked out again.
    """

    def __init__(
        self,
        ensemble: Ensemble,
        instruments: dict[str, Instrument],
        *,
        learning: bool = False,
        whole: tuple[Observer, npt.NDArray[np.intp]] | None = None,
    ) -> None:
        self._whole = whole
        self.ensemble = ensemble
        self.chain = ensemble.chain
        self.instruments = instruments
        self.nodes = {str(node): node for node in self.chain.nodes}
        self.stage_db = dict.fromkeys(self.chain.job.stages, STAGE_DB) if learning else stage_doubts(self.chain)
        names = list(instruments)
        doubt = ensemble.doubt
        self._ratio = {name: 2 * doubt[:, (3 * i) % 8] - 1 for i, name in enumerate(names)}
        self._counts = {name: 2 * doubt[:, (3 * i + 1) % 8] - 1 for i, name in enumerate(names)}
        self._beyond = {name: doubt[:, (3 * i + 2) % 8] for i, name in enumerate(names)}
        self._kept: dict[tuple[Stimulus, Node, str, Node | None], DrawnLevels] = {}
        self._ways: dict[Node, tuple[Node, ...]] = {}
        low, high = STRAY_V
        self._stray_v = low * (high / low) ** doubt[:, 7]

    def of_some(self, rows: npt.NDArray[np.intp]) -> Observer:
        """Return the observer of some of the hypotheses alone; what is known here isn't worked out again there."""
        return Observer(self.ensemble.of_some(rows), self.instruments, whole=(self, rows))

    def quiet_v(self, node: Node) -> float:
        """Return the bound below which a reading at a node counts as no signal, volts."""
        return QUIET_POWER_V if gives_power(self.chain.job.stages[node.stage]) else QUIET_V

    def solved(
        self, stimulus: Stimulus, node: Node, also: tuple[Node, ...] = (), against: Node | None = None
    ) -> Solved:
        """Return the levels at a node, and at another, solved together with those of a path: `also`, or the node's own."""
        wanted = frozenset((node,) if against is None else (node, against))
        return self.ensemble.solve(stimulus, wanted, frozenset((*also, *self._along(also[-1] if also else node))))

    def _along(self, node: Node) -> tuple[Node, ...]:
        """Return all nodes up to the last stage before the speakers, on the first path through a node."""
        if node not in self._ways:
            way = next((path.nodes for path in self.chain.wiring.paths if node in path.nodes), (node,))
            last = way[-1].stage
            self._ways[node] = (*self.chain.wiring.upstream(last), *self.chain.wiring.outputs(last))
        return self._ways[node]

    def level_v(self, stimulus: Stimulus, node: Node, also: tuple[Node, ...] = ()) -> tuple[Floats, Floats]:
        """Return rms and THD at a node under every hypothesis, shape (hypotheses, draws), without any instrument."""
        solved = self.solved(stimulus, node, also)
        column = solved.solution.index(node)
        return solved.of(solved.solution.rms_at(column)), solved.of(solved.solution.thd_at(column))

    def usual_v(self, stimulus: Stimulus, node: Node, also: tuple[Node, ...] = ()) -> Floats:
        """Return the rms at a node of the sound chain with the same draws, shape (draws,)."""
        solved = self.solved(stimulus, node, also)
        return solved.solution.rms_at(solved.solution.index(node))[: solved.draws]

    def usual_thd(self, stimulus: Stimulus, node: Node, also: tuple[Node, ...] = ()) -> Floats:
        """Return the THD at a node of the sound chain with the same draws, shape (draws,)."""
        solved = self.solved(stimulus, node, also)
        return np.nan_to_num(solved.solution.thd_at(solved.solution.index(node))[: solved.draws])

    def phasor_v(self, stimulus: Stimulus, node: Node, also: tuple[Node, ...] = ()) -> npt.NDArray[np.complex128]:
        """Return the fundamental at a node under every hypothesis, volts rms with its phase, shape (hypotheses, draws)."""
        solved = self.solved(stimulus, node, also)
        return solved.of(solved.solution.fundamental_at(solved.solution.index(node)))

    def levels(
        self, stimulus: Stimulus, node: Node, name: str, also: tuple[Node, ...] = (), against: Node | None = None
    ) -> DrawnLevels:
        """Return the readings of an instrument at a node, or between it and another."""
        key = (stimulus, node, name, against)
        found = self._known(key)
        if found is None:
            found = self._levels(stimulus, node, name, also, against)
        self._kept[key] = found
        return found

    def _known(self, key: tuple[Stimulus, Node, str, Node | None]) -> DrawnLevels | None:
        """Return levels that are kept here, or for the hypotheses that these are some of."""
        found = self._kept.get(key)
        if found is None and self._whole is not None:
            theirs = self._whole[0]._known(key)
            found = None if theirs is None else theirs.of_some(self._whole[1])
        return found

    def _levels(
        self, stimulus: Stimulus, node: Node, name: str, also: tuple[Node, ...], against: Node | None
    ) -> DrawnLevels:
        instrument = self.instruments[name]
        solved = self.solved(stimulus, node, also, against)
        solution, column = solved.solution, solved.solution.index(node)
        if against is not None:
            value = np.abs(solution.fundamental_at(column) - solution.fundamental_at(solution.index(against)))
        elif isinstance(instrument, Multimeter):
            value = meter_value(instrument, solution, column)
        else:
            value = solution.rms_at(column)
        shown_v = self._hidden_from(solved.of(value), name) * self._leg_left(instrument, node)
        signal_v, shown_v = shown_v, np.hypot(shown_v, self._stray_v)
        digit_v = 0.0
        if isinstance(instrument, Multimeter):
            shown_v, digit_v = self._with_meter_error(instrument, name, shown_v, stimulus.tone_hz)
        elif isinstance(instrument, Recorder):
            shown_v = shown_v * 10 ** (0.05 / 20 * self._ratio[name])
        quiet_v = max(self.quiet_v(node), 5 * digit_v)
        return DrawnLevels(
            20 * np.log10(np.maximum(shown_v, 1e-9)),
            shown_v <= quiet_v,
            solved.of(solution.thd_at(column)),
            quiet_v,
            digit_v,
            signal_v,
            STRAY_POWER_V if gives_power(self.chain.job.stages[node.stage]) else STRAY_V,
        )

    def _leg_left(self, instrument: Instrument, node: Node) -> Any:
        """Return what a grounded instrument leaves of a balanced output that was whole until then, as a ratio."""
        if not grounded_nodes(instrument, node):
            return 1.0
        if f"{node.stage}.balanced" not in self.chain.facts:
            return 1.0
        return 0.5 / Loading(self.chain.wiring, self.ensemble.values, probes={}).leg_share(node)

    def _hidden_from(self, shown_v: Floats, name: str) -> Floats:
        """Set the signal to 0 under hypotheses whose measuring lead or meter function hides it."""
        hidden = [i for i, change in enumerate(self.ensemble.changes) if name in change.instrument]
        if hidden:
            shown_v = shown_v.copy()
            shown_v[hidden] = 0.0
        return shown_v

    def _with_meter_error(self, meter: Multimeter, name: str, shown_v: Floats, tone_hz: float) -> tuple[Floats, float]:
        """Add a meter's own error to its reading: the same for all readings, since it is one meter."""
        digit_v = resolution_v(meter, shown_v)
        ratio, digits = accuracy_of(meter)
        if meter.bandwidth is not None and tone_hz > meter.bandwidth.nominal:
            shown_v = shown_v * 10 ** (-BEYOND_DB / 20 * self._beyond[name])
        erring = shown_v * (1 + ratio * self._ratio[name]) + digits * digit_v * self._counts[name]
        return np.maximum(erring, 0.0), float(resolution_v(meter, 0.0))

    def lit(self, stimulus: Stimulus, node: Node, name: str, also: tuple[Node, ...] = ()) -> npt.NDArray[np.bool_]:
        """Return whether each mark of an indicator is lit, shape (marks, hypotheses, draws), in the job's order.

        A threshold with a spread is the same for all readings, since it is one instrument.
        """
        indicator = self.instruments[name]
        assert isinstance(indicator, Indicator)  # noqa: S101  the caller names an indicator
        solved = self.solved(stimulus, node, also)
        column, doubt = solved.solution.index(node), self.ensemble.doubt
        found = []
        for i, mark in enumerate(indicator.marks.values()):
            seen = solved.of(monitored_value(mark, solved.solution, column, tone_hz=stimulus.tone_hz))
            threshold = mark.threshold.spread.quantile(doubt[:, i % doubt.shape[1]])
            found.append(self._hidden_from(seen, name) >= threshold)
        return np.stack(found)

    def shown(
        self, given: tuple[str, ...], stimulus: Stimulus, node: Node, name: str, also: tuple[Node, ...] = ()
    ) -> Floats:
        """Return the probability that exactly these marks of an indicator are lit, shape (hypotheses, draws)."""
        indicator = self.instruments[name]
        assert isinstance(indicator, Indicator)  # noqa: S101  the caller names an indicator
        wanted = np.array([mark in given for mark in indicator.marks])[:, None, None]
        right = np.all(self.lit(stimulus, node, name, also) == wanted, axis=0)
        return np.where(right, 1 - MARKS_WRONG, MARKS_WRONG / (2 ** len(indicator.marks) - 1))

    def shows(
        self, stimulus: Stimulus, node: Node, name: str, also: tuple[Node, ...] = ()
    ) -> tuple[tuple[str, ...], Floats]:
        """Return texts of what an indicator can show at a node, and their probabilities, shape (texts, hypotheses, draws).

        Combinations that no draw gives under any hypothesis share one text at the end.
        """
        indicator = self.instruments[name]
        assert isinstance(indicator, Indicator)  # noqa: S101  the caller names an indicator
        names = list(indicator.marks)
        lit = self.lit(stimulus, node, name, also)
        which = np.tensordot(2 ** np.arange(len(names)), lit, axes=1)
        there = np.unique(which)
        wrong = MARKS_WRONG / (2 ** len(names) - 1)
        words = [describe_marks([n for i, n in enumerate(names) if code >> i & 1]) for code in there]
        chance = [np.where(which == code, 1 - MARKS_WRONG, wrong) for code in there]
        left = 2 ** len(names) - len(there)
        if left:
            words.append(say("something else"))
            chance.append(np.full(which.shape, left * wrong))
        return tuple(words), np.stack(chance)

    def overloads(self, stimulus: Stimulus, node: Node, name: str, also: tuple[Node, ...] = ()) -> Floats:
        """Return the probability that a recorder is overloaded, shape (hypotheses, draws)."""
        recorder = self.instruments[name]
        full_v = recorder_full_scale_v(recorder) if isinstance(recorder, Recorder) else 1000.0
        level_v, _ = self.level_v(stimulus, node, also)
        return np.where(self._hidden_from(level_v, name) > full_v, 0.98, 0.01)


def normal_cdf(z: Any) -> Floats:
    """Return the standard normal distribution function, by the logistic approximation of Bowling et al. (2009).

    Its error is under 1.5e-4; importing scipy.special would cost 0.3 s for answers that need two figures.
    """
    z = np.clip(np.asarray(z, dtype=np.float64), -8, 8)
    return np.asarray(1 / (1 + np.exp(-((0.07056 * z * z + 1.5976) * z))))
