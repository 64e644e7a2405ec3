"""Values of the chain as learned from readings: samples that agree with them, in place of the job's spreads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.diagnose.diagnoser import Diagnoser
    from gainwright.model import Entry

    Floats = npt.NDArray[np.float64]

DRAWS, KEPT = 2048, 256
SEED = 31
NARROWER = 0.8
"""Intervals that shrank to less than this share of their width are reported."""


@dataclass(frozen=True, slots=True)
class LearnedValue:
    """A value that is better known than before: its 95 % interval now and before, in SI."""

    path: str
    low: float
    high: float
    before_low: float
    before_high: float


def learn_values(diagnoser: Diagnoser, entries: Sequence[Entry]) -> tuple[dict[str, Floats], tuple[LearnedValue, ...]]:
    """Return samples of every uncertain value given the readings, shape (KEPT,) each, and the values better known now.

    The samples are those under the most probable cause: a repair removes the fault and leaves these values. They are
    equally weighted (systematic resampling; Kitagawa, J. Comput. Graph. Stat. 5, 1, 1996) and keep their correlations.
    """
    state = diagnoser.weigh(entries)
    leading = state.hypotheses[int(np.argmax(state.probability))]
    weighed = diagnoser.weigh_hypothesis(leading, entries, draws=DRAWS, seed=SEED)
    belief, values = weighed.belief, weighed.answer_model.ensemble.values
    rng = np.random.default_rng(SEED)
    pick = _resampled(belief.weight[0], KEPT, rng)
    drawn: dict[str, Floats] = {}
    rows = []
    for path, prior in values.items():
        if np.size(prior) == 1 or path not in diagnoser.chain.facts:
            continue
        moved, spread = belief.moved(np.asarray(prior)[None, :])
        after = moved[0][pick] + float(spread[0]) * rng.standard_normal(KEPT)
        drawn[path] = np.clip(after, np.min(prior), np.max(prior))
        before = np.quantile(prior, [0.025, 0.975])
        now = np.quantile(drawn[path], [0.025, 0.975])
        if now[1] - now[0] < NARROWER * (before[1] - before[0]):
            rows.append(LearnedValue(path, float(now[0]), float(now[1]), float(before[0]), float(before[1])))
    return drawn, tuple(rows)


def _resampled(weight: Floats, count: int, rng: np.random.Generator) -> npt.NDArray[np.intp]:
    edges = np.cumsum(weight) / weight.sum()
    return np.minimum(np.searchsorted(edges, (np.arange(count) + rng.random()) / count), len(weight) - 1)
