"""What a likely cause rests on: a single answer that may be a mistake, or a test not made yet that would tell it from the rest."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.once_more import once_more, times_asked
from gainwright.diagnose.ranking import ASKING, ENOUGH
from gainwright.model import Check

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.diagnose.causes import Cause
    from gainwright.diagnose.diagnoser import CauseProbabilities, RankedTests
    from gainwright.diagnose.ranking import PredictedOutcomes

    Floats = npt.NDArray[np.float64]
    Flags = npt.NDArray[np.bool_]

SURE_ALONE = 0.99
"""From this probability a cause may rest on a single answer: it counts the answer's own rate of mistakes already."""
TELLS = 0.5
"""A test tells a cause from others if the chances of its outcomes differ by so much (total variation)."""


def single_answer(leading: Flags, state: CauseProbabilities, likelihood: Floats, tests: RankedTests) -> int | None:
    """Return the index of the one look or check without which a leading cause wouldn't be likely; None if it rests on more.

    What an entry says of each cause by itself is divided out again, which is exact for an answer that is the same in
    all draws. Only what wasn't looked at twice yet, and can be looked at again, counts.

    Parameters
    ----------
    leading : whether each of the state's hypotheses is one of those that lead, shape (hypotheses,).
    likelihood : log, of each entry under each single cause, shape (entries, causes).
    """
    probability = state.probability
    if float(probability[leading].sum()) * (1 - state.surprise) >= SURE_ALONE:
        return None
    least, found = ENOUGH, None
    for i, said in enumerate(of_hypotheses(state, likelihood)):
        entry = state.entries[i]
        if not isinstance(entry, Check) or i in state.evidence.past or times_asked(entry, tests.catalogue) > 1:
            continue
        without = probability * np.exp(np.min(said) - said)
        share = float(without[leading].sum() / without.sum())
        if share < least and once_more(entry, tests.catalogue) is not None:
            least, found = share, i
    return found


def of_hypotheses(state: CauseProbabilities, likelihood: Floats) -> Floats:
    """Return the log likelihood of each entry under each of a state's hypotheses: of two causes, the larger."""
    singles = likelihood.shape[1]
    place: dict[Cause, int] = {h[0]: i for i, h in enumerate(state.hypotheses[:singles])}
    pairs = [likelihood[:, [place[c] for c in h]].max(axis=1) for h in state.hypotheses[singles:]]
    return np.column_stack([likelihood, *pairs])


def telling_test(leading: Sequence[int], state: CauseProbabilities, tests: RankedTests) -> PredictedOutcomes | None:
    """Return the test that tells the leading causes best, for its time, from what else is in play; None if none does.

    Parameters
    ----------
    leading : indices of the active hypotheses that lead.
    """
    weight = np.array(state.active.belief.probability)
    lead = np.zeros(len(weight), dtype=bool)
    lead[list(leading)] = True
    rest = np.where(lead, 0.0, weight)
    if rest.sum() <= 0 or weight[lead].sum() <= 0:
        return None
    best, found = 0.0, None
    for o in tests.predicted:
        mine, others = (w @ o.chance / w.sum() for w in (np.where(lead, weight, 0.0), rest))
        apart = 0.5 * float(np.abs(mine - others).sum())
        if apart >= TELLS and apart / (o.candidate.minutes + ASKING) > best:
            best, found = apart / (o.candidate.minutes + ASKING), o
    return found
