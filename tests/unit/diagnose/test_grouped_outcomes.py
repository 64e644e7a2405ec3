"""The outcomes of a test in groups of causes that count as one."""

from __future__ import annotations

import numpy as np

from gainwright.diagnose.asked_entries import check_at
from gainwright.diagnose.candidates import Candidate
from gainwright.diagnose.ranking import PredictedOutcomes, _grouped, _membership


def test_a_group_gives_each_outcome_as_its_causes_do_by_their_shares() -> None:
    """Law of total probability; a cause alone in its group keeps its own chances to the last bit, and rare outcomes are one."""
    rng = np.random.default_rng(1)
    probability = np.array([0.3, 0.1, 0.2, 0.05, 0.35])
    together = [[4], [0, 3], [2], [1]]
    each = [rng.dirichlet(np.ones(3), size=5), rng.dirichlet(np.ones(2), size=5)]
    rare = np.column_stack([each[0][:, 0], np.full(5, 1e-3), np.full(5, 5e-4), 0.9985 - each[0][:, 0]])
    candidate = Candidate("look_at_control", "amp.gain", 1.0, check_at("amp.gain"))
    predicted = [PredictedOutcomes(candidate, tuple("abcd"[: c.shape[1]]), c) for c in (*each, rare)]
    prior = np.array([probability[g].sum() for g in together])
    found = _grouped(prior, _membership(probability, together), together, predicted)
    for mine, chance in zip(found, each, strict=False):
        np.testing.assert_array_equal(mine[[0, 2, 3]], chance[[4, 2, 1]])
        np.testing.assert_allclose(mine[1], (0.3 * chance[0] + 0.05 * chance[3]) / 0.35, rtol=1e-14)
    np.testing.assert_allclose(found[2][:, 2], 1.5e-3, rtol=1e-14)
    assert found[2].shape == (4, 3)
