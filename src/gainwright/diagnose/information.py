"""What the answers of tests tell about causes: bits, and the causes after each answer.

Bits per minute alone mislead where a test can end the search (docs/decisions/0005): `choosing` values that.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]


def information_of_tests_bits(prior: Floats, chances: Sequence[Floats]) -> Floats:
    """Return the mutual information of causes and the answers of each of several tests, bits (Shannon, 1948), shape (tests,).

    Parameters
    ----------
    prior : of each cause, shape (causes,).
    chances : of each answer given each cause, for each test, shape (causes, answers).
    """
    columns = np.hstack(chances)
    starts = np.cumsum([0, *(chance.shape[1] for chance in chances)])[:-1]
    spread = prior @ _times_log2(columns) - _times_log2(prior @ columns)
    return np.asarray(np.maximum(np.add.reduceat(spread, starts), 0.0))


def _times_log2(p: Floats) -> Floats:
    found = np.where(p > 0, p, 1.0)
    return np.multiply(p, np.log2(found, out=found), out=found)


def after_answers(prior: Floats, chance: Floats) -> tuple[Floats, Floats]:
    """Return the probability of each answer, shape (answers,), and of the causes after it, shape (answers, causes)."""
    joint = prior[:, None] * chance
    together = joint.sum(axis=0)
    after = np.divide(joint, together, out=np.zeros_like(joint), where=together > 0)
    return together, after.T
