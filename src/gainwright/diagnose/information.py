"""The value of a test: bits, and minutes to the end of the search.

A search that checks causes one by one is shortest in increasing order of cost over probability (Kadane & Simon, Annals
of Statistics 5, 237, 1977; Heckerman, Breese & Rommelse, Communications of the ACM 38(3), 49, 1995, apply it to
troubleshooting). Any other test is worth the minutes by which it shortens that search. Bits per minute alone are
misleading where a test can end the search (docs/decisions/0005).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]


def entropy_bits(probability: Floats) -> Floats:
    """Return the entropy over the last axis, bits (Shannon, 1948)."""
    p = np.asarray(probability, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(-np.sum(np.where(p > 0, p * np.log2(np.maximum(p, 1e-300)), 0.0), axis=-1))


def information_bits(prior: Floats, chance: Floats) -> float:
    """Return the mutual information of causes and answers, bits (Shannon, 1948).

    Parameters
    ----------
    prior : of each cause, shape (causes,).
    chance : of each answer given each cause, shape (causes, answers).
    """
    together = prior @ chance
    return max(float(entropy_bits(together)) - float(prior @ entropy_bits(chance)), 0.0)


def information_of_tests_bits(prior: Floats, chances: Sequence[Floats]) -> Floats:
    """Return the mutual information of causes and the answers of each of several tests, bits, shape (tests,).

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
    return np.asarray(p * np.log2(np.where(p > 0, p, 1.0)))


def after_answers(prior: Floats, chance: Floats) -> tuple[Floats, Floats]:
    """Return the probability of each answer, shape (answers,), and of the causes after it, shape (answers, causes)."""
    joint = prior[:, None] * chance
    together = joint.sum(axis=0)
    after = np.divide(joint, together, out=np.zeros_like(joint), where=together > 0)
    return together, after.T


def search_minutes(probability: Floats, minutes: Floats, *, enough: float = 1.0) -> Floats:
    """Return the expected minutes of checking causes one by one in the best order, over the last axis.

    Parameters
    ----------
    probability : of each cause, shape (..., causes).
    minutes : that checking each cause takes, shape (causes,).
    enough : probability of a cause from which no search is needed.
    """
    p = np.asarray(probability, dtype=np.float64)
    order = np.argsort(-p / minutes, axis=-1, kind="stable")
    spent = np.cumsum(np.asarray(minutes)[order], axis=-1)
    found = np.sum(np.take_along_axis(p, order, axis=-1) * spent, axis=-1)
    return np.asarray(np.where(np.max(p, axis=-1) >= enough - 1e-12, 0.0, found))


def minutes_with(prior: Floats, chance: Floats, minutes: Floats, *, cost: float, enough: float = 1.0) -> float:
    """Return the expected minutes of a search that begins with one test.

    Parameters
    ----------
    cost : minutes that the test takes.
    """
    together, after = after_answers(prior, chance)
    return float(cost + together @ search_minutes(after, minutes, enough=enough))


def best_decision(prior: Floats, utility: Floats) -> tuple[int, float]:
    """Return the decision of the highest expected utility, and that utility (Raiffa, Decision Analysis, 1968).

    Parameters
    ----------
    utility : of each decision in each state, shape (decisions, states).
    """
    expected = utility @ prior
    return int(np.argmax(expected)), float(np.max(expected))


def value_of_sample(prior: Floats, chance: Floats, utility: Floats) -> float:
    """Return the value of a test before its cost: expected utility with it less without it (Raiffa, 1968)."""
    together, after = after_answers(prior, chance)
    with_it = sum(float(w) * best_decision(a, utility)[1] for w, a in zip(together, after, strict=True))
    return with_it - best_decision(prior, utility)[1]
