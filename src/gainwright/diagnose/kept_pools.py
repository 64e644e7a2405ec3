"""Ensembles of some of the hypotheses that are kept with what they have solved, to be used again or made from one another."""

from __future__ import annotations

from collections import OrderedDict
from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.answers import AnswerModel
from gainwright.diagnose.weighed import Pool

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gainwright.diagnose.weighed import Hypothesis, Rows

MOST_POOLS = 6
"""Ensembles that are kept with their solutions; the least recently used is dropped first."""
ROOMY = 1.5
"""An ensemble with more than so many times the hypotheses asked for costs more than one of them alone, which knows its solutions."""


class KeptPools:
    """Pools by number of draws, seed and hypotheses; each hypothesis has the same draws in all of a seed and number of draws.

    Parameters
    ----------
    most_solved : a pool with more solutions isn't used again.
    """

    def __init__(self, most_solved: int) -> None:
        self._most_solved = most_solved
        self._pools: OrderedDict[tuple[int, int, tuple[Hypothesis, ...]], Pool] = OrderedDict()

    def clear(self) -> None:
        """Drop all of them."""
        self._pools.clear()

    def of(
        self,
        hypotheses: Sequence[Hypothesis],
        draws: int,
        seed: int,
        *,
        build: Callable[[Sequence[Hypothesis], int, int], AnswerModel],
        whole: Pool | None = None,
    ) -> tuple[Pool, Rows]:
        """Return a pool with some hypotheses, and their rows there: a kept one, or a new one made from one that has them.

        `whole` is another pool of these draws and this seed; `build` makes a new one where none has them all.
        """
        containing = None
        for key in reversed(self._pools):
            pool = self._pools[key]
            rows = pool.rows(hypotheses) if key[:2] == (draws, seed) else None
            if rows is None or pool.answer_model.ensemble.solutions > self._most_solved:
                continue
            if len(key[2]) <= ROOMY * len(hypotheses):
                self._pools.move_to_end(key)
                return pool, rows
            containing = containing or (pool, rows)
        rows = whole.rows(hypotheses) if whole is not None and containing is None else None
        if whole is not None and rows is not None:
            containing = whole, rows
        if containing is None:
            model = build(tuple(hypotheses), draws, seed)
        else:
            others = containing[0].answer_model
            model = AnswerModel(others.observer.of_some(containing[1]), whole=(others, containing[1]))
        self._pools[draws, seed, tuple(hypotheses)] = found = Pool(model)
        while len(self._pools) > MOST_POOLS:
            self._pools.popitem(last=False)
        return found, np.arange(len(hypotheses))
