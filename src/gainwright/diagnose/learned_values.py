"""What readings taught about the chain's own numbers: draws that agree with them, in place of the job's spreads."""

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
"""An interval that shrank to less than this is told."""


@dataclass(frozen=True, slots=True)
class LearnedValue:
    """One number that is better known now: its 95 % interval before and after, in SI."""

    path: str
    low: float
    high: float
    before_low: float
    before_high: float


def learn_values(diagnoser: Diagnoser, entries: Sequence[Entry]) -> tuple[dict[str, Floats], tuple[LearnedValue, ...]]:
    """Return draws of every uncertain number given what was read, shape (KEPT,) each, and what is better known.

    The draws are of the cause that is believed most: what is wrong is put right, the numbers stay. They are equally
    weighted (systematic resampling; Kitagawa, J. Comput. Graph. Stat. 5, 1, 1996) and keep what readings tie together.
    """
    state = diagnoser.weigh(entries)
    leading = state.hypotheses[int(np.argmax(state.probability))]
    weighed = diagnoser.weigh_one(leading, entries, draws=DRAWS, seed=SEED)
    belief, values = weighed.belief, weighed.answer_model.ensemble.values
    rng = np.random.default_rng(SEED)
    pick = _resampled(belief.weight[0], KEPT, rng)
    drawn: dict[str, Floats] = {}
    told = []
    for path, prior in values.items():
        if np.size(prior) == 1:
            continue
        moved, spread = belief.moved(np.asarray(prior)[None, :])
        after = moved[0][pick] + float(spread[0]) * rng.standard_normal(KEPT)
        drawn[path] = np.clip(after, np.min(prior), np.max(prior))
        before = np.quantile(prior, [0.025, 0.975])
        now = np.quantile(drawn[path], [0.025, 0.975])
        if now[1] - now[0] < NARROWER * (before[1] - before[0]):
            told.append(LearnedValue(path, float(now[0]), float(now[1]), float(before[0]), float(before[1])))
    return drawn, tuple(told)


def _resampled(weight: Floats, count: int, rng: np.random.Generator) -> npt.NDArray[np.intp]:
    edges = np.cumsum(weight) / weight.sum()
    return np.minimum(np.searchsorted(edges, (np.arange(count) + rng.random()) / count), len(weight) - 1)
