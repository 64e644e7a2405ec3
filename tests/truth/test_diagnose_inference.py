"""Probabilities, information and the value of a test against published examples and against exact inference by pgmpy.

Chest clinic: Lauritzen & Spiegelhalter, J. R. Stat. Soc. B 50 (1988), tables as in the BUGS manual. Noisy-OR: the fever
example of Russell & Norvig (numbers from memory, arithmetic by pgmpy). Oil wildcatter: Raiffa, Decision Analysis (1968),
tables after Shenoy (1992). Order of search: Kadane & Simon, Annals of Statistics 5 (1977).
"""

from __future__ import annotations

import itertools
import logging
import warnings
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from gainwright.diagnose.belief import Observation, VoltsReading, posterior, weigh
from gainwright.diagnose.choosing import Choosing, Closer
from gainwright.diagnose.information import after_answers, information_of_tests_bits
from gainwright.diagnose.ranking import ASKING, PredictedOutcomes, rank

# ---- chest clinic ----------------------------------------------------------------------------------------------

NAMES = ("asia", "smoke", "tub", "lung", "bronc")
STATES = np.array(list(itertools.product([True, False], repeat=5)))
"""All states of the five causes; either and the two symptoms follow."""


def _bernoulli(holds: np.ndarray, chance: np.ndarray | float) -> np.ndarray:
    return np.where(holds, chance, 1 - np.asarray(chance))


def clinic() -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Return the prior of every state, and the chance of each observable being true in it."""
    asia, smoke, tub, lung, bronc = STATES.T
    prior = _bernoulli(asia, 0.01) * _bernoulli(smoke, 0.5)
    prior = prior * _bernoulli(tub, np.where(asia, 0.05, 0.01)) * _bernoulli(lung, np.where(smoke, 0.1, 0.01))
    prior = prior * _bernoulli(bronc, np.where(smoke, 0.6, 0.3))
    either = tub | lung
    chance = {
        "xray": np.where(either, 0.98, 0.05),
        "dysp": np.select([either & bronc, either & ~bronc, ~either & bronc], [0.9, 0.7, 0.8], 0.1),
        **{name: column.astype(float) for name, column in zip(NAMES, STATES.T, strict=True)},
        "either": either.astype(float),
    }
    return prior, chance


PUBLISHED = {
    (): {"tub": 0.0104, "lung": 0.055, "bronc": 0.45, "either": 0.064828, "xray": 0.110290, "dysp": 0.435971},
    ("asia", "dysp"): {"tub": 0.087751, "lung": 0.099525, "bronc": 0.811402, "either": 0.182300, "smoke": 0.625920},
    ("xray",): {"tub": 0.092411, "lung": 0.488711, "bronc": 0.506326},
    ("xray", "dysp"): {"tub": 0.113933, "lung": 0.621253, "bronc": 0.681869},
    ("xray", "dysp", "smoke"): {"tub": 0.075266, "lung": 0.723714, "bronc": 0.713706},
    ("asia", "!smoke", "xray", "dysp"): {"tub": 0.632329, "lung": 0.126466, "bronc": 0.458960},
}


@pytest.mark.parametrize("evidence", PUBLISHED)
def test_chest_clinic(evidence: tuple[str, ...]) -> None:
    """The marginals of the published example result from the same weighting that causes go through."""
    prior, chance = clinic()
    observed = []
    for i, name in enumerate(evidence):
        p = chance[name.removeprefix("!")]
        observed.append(Observation(i, (1 - p if name.startswith("!") else p)[:, None], None, 0.5))
    belief = weigh(prior, observed, draws=1, unknown=1e-9)
    for name, value in PUBLISHED[evidence].items():
        assert float(belief.probability @ chance[name]) == pytest.approx(value, abs=6e-6), name


def test_information_of_the_x_ray() -> None:
    """I(either; xray) is 0.223790 bit (computed in two ways outside the program)."""
    prior, chance = clinic()
    p = float(prior @ chance["either"])
    table = np.array([[0.98, 0.02], [0.05, 0.95]])
    assert information_of_tests_bits(np.array([p, 1 - p]), [table]) == pytest.approx([0.223790], abs=1e-6)


# ---- noisy-OR, by pgmpy's exact inference -----------------------------------------------------------------------

INHIBITED = {"cold": 0.6, "flu": 0.2, "malaria": 0.1}
PRIOR = {"cold": 0.2, "flu": 0.05, "malaria": 0.01}


def test_noisy_or_against_exact_inference() -> None:
    """Posteriors of three causes of a fever, and the probability of fever for each set of causes."""
    states = np.array(list(itertools.product([True, False], repeat=3)))
    inhibition = np.prod(np.where(states, list(INHIBITED.values()), 1.0), axis=1)
    fever = 1 - inhibition
    known = {(1, 1, 1): 0.988, (1, 1, 0): 0.88, (1, 0, 1): 0.94, (0, 1, 1): 0.98, (0, 0, 1): 0.9, (0, 0, 0): 0.0}
    for state, value in known.items():
        row = next(i for i, s in enumerate(states) if tuple(int(x) for x in s) == state)
        assert fever[row] == pytest.approx(value, abs=1e-12)
    prior = np.prod([_bernoulli(states[:, i], p) for i, p in enumerate(PRIOR.values())], axis=0)
    mine = posterior(np.log(prior), np.log(np.maximum(fever, 1e-300)))
    network = [(name, "fever") for name in PRIOR]
    cpds: dict[str, Any] = {name: ([], np.array([[p], [1 - p]])) for name, p in PRIOR.items()}
    cpds["fever"] = (list(PRIOR), np.stack([fever, 1 - fever]))
    exact = _by_pgmpy(network, cpds)
    for i, name in enumerate(PRIOR):
        assert float(mine @ states[:, i]) == pytest.approx(exact([name], {"fever": 0})[0], abs=1e-9)


def _by_pgmpy(edges: list[tuple[str, str]], tables: dict[str, Any]) -> Any:
    """Return exact queries on a network; state 0 is the first column of each table."""
    logging.getLogger("pgmpy").setLevel(logging.ERROR)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library's own deprecations
        from pgmpy.factors.discrete import TabularCPD
        from pgmpy.inference import VariableElimination
        from pgmpy.models import DiscreteBayesianNetwork

    model = DiscreteBayesianNetwork(edges)
    sizes = {name: len(values) for name, (_, values) in tables.items()}
    for name, (parents, values) in tables.items():
        model.add_cpds(
            TabularCPD(
                name,
                sizes[name],
                np.asarray(values).tolist(),
                evidence=parents or None,
                evidence_card=[sizes[p] for p in parents] or None,
            )
        )
    assert model.check_model()
    inference = VariableElimination(model)

    def query(names: list[str], evidence: dict[str, int]) -> np.ndarray:
        return np.asarray(inference.query(names, evidence=evidence, show_progress=False).values)

    return query


def test_many_entries_against_exact_inference() -> None:
    """Eight causes, five answers of a few labels each, one entry missing: the posterior is pgmpy's to 1e-9."""
    rng = np.random.default_rng(4)
    prior = rng.dirichlet(np.full(8, 2.0))
    tables = {f"e{i}": rng.dirichlet(np.full(size, 0.7), size=8).T for i, size in enumerate((2, 3, 4, 2, 5))}
    cpds: dict[str, Any] = {"cause": ([], prior[:, None])} | {n: (["cause"], t) for n, t in tables.items()}
    exact = _by_pgmpy([("cause", name) for name in tables], cpds)
    seen = {"e0": 1, "e1": 2, "e2": 0, "e4": 3}
    observed = [Observation(i, tables[name][k][:, None], None, 0.5) for i, (name, k) in enumerate(seen.items())]
    belief = weigh(prior, observed, draws=1, unknown=1e-9)
    assert belief.probability == pytest.approx(exact(["cause"], seen), abs=1e-9)


# ---- volts ------------------------------------------------------------------------------------------------------


def test_volts_against_the_closed_form() -> None:
    """Normal priors of the level under two causes and a normal reading: the posterior is a ratio of normal densities."""
    rng = np.random.default_rng(2)
    draws, sd_prior, sd = 4000, 3.0, 0.4
    means = np.array([0.0, 4.0])
    predicted = means[:, None] + sd_prior * rng.standard_normal((2, draws))
    alive = np.ones((2, draws), dtype=bool)
    observed = [Observation(0, None, VoltsReading(predicted, alive, 1.0, sd, 1e-6), 1 / 90)]
    belief = weigh(np.array([0.5, 0.5]), observed, draws=draws, unknown=1e-9)
    variance = sd_prior**2 + sd**2
    density = np.exp(-0.5 * (1.0 - means) ** 2 / variance)
    assert belief.probability == pytest.approx(density / density.sum(), abs=0.02)
    assert abs(belief.probability[0] - density[0] / density.sum()) < 4 * belief.error[0]
    # another place that is 6 dB higher in every draw follows, and is as sure as the reading
    moved, spread = belief.moved(predicted + 6.0)
    mean = float(np.sum(belief.weight[0] * moved[0]))
    assert mean == pytest.approx(7.0 * sd_prior**2 / variance + 6.0 * sd**2 / variance, abs=0.1)
    around = float(np.sqrt(np.sum(belief.weight[0] * (moved[0] - mean) ** 2) + spread[0] ** 2))
    assert around == pytest.approx(sd * sd_prior / np.sqrt(variance), rel=0.2)


def test_what_a_stage_is_off_is_shared_by_readings_behind_it() -> None:
    """Two readings 1.5 dB above the prediction of one cause and beside that of another: normal densities by scipy."""
    alive = np.ones((2, 8), dtype=bool)
    first, second = np.array([[0.0] * 8, [1.5] * 8]), np.array([[0.0] * 8, [0.5] * 8])
    shared = frozenset({("head", 0.4), ("amp", 0.3)})
    volts = [VoltsReading(at, alive, 1.5, 0.2, 1e-9, shared) for at in (first, second)]
    belief = weigh(
        np.array([0.5, 0.5]), [Observation(i, None, v, 1 / 90) for i, v in enumerate(volts)], draws=8, unknown=1e-9
    )
    covariance = 0.2**2 * np.eye(2) + (0.4**2 + 0.3**2) * np.ones((2, 2))
    means = np.array([[0.0, 0.0], [1.5, 0.5]])
    density = np.array([stats.multivariate_normal(mean, covariance).pdf([1.5, 1.5]) for mean in means])
    assert belief.probability == pytest.approx(density / density.sum(), abs=1e-6)
    assert belief.probability[0] > 0.5  # both are off by the same, as by a stage before them


def test_what_a_stage_is_off_moves_what_is_expected_behind_it() -> None:
    """Once a source was read 6 dB over the prediction, what comes behind it is expected so, as conjugate normals have it."""
    alive, flat = np.ones((1, 64), dtype=bool), np.zeros((1, 64))
    source, both = frozenset({("head", 4.0)}), frozenset({("head", 4.0), ("amp", 0.5)})
    read = Observation(0, None, VoltsReading(flat, alive, 6.0, 0.2, 1e-9, source), 1 / 90)
    belief = weigh(np.ones(1), [read], draws=64, unknown=1e-9)
    moved, spread = belief.moved(flat, both)
    assert moved[0, 0] == pytest.approx(6.0 * 4.0**2 / (4.0**2 + 0.2**2), abs=0.01)
    assert spread[0] == pytest.approx(np.sqrt(0.5**2 + 4.0**2 * 0.2**2 / (4.0**2 + 0.2**2)), abs=0.01)


# ---- value of information ---------------------------------------------------------------------------------------

OIL = np.array([0.5, 0.3, 0.2])
UTILITY = np.array([[-70.0, 50.0, 200.0], [0.0, 0.0, 0.0]])
SEISMIC = np.array([[0.1, 0.3, 0.6], [0.3, 0.4, 0.3], [0.5, 0.4, 0.1]])
"""Chance of closed, open, diffuse structure in a dry, wet, soaking field."""


def test_oil_wildcatter() -> None:
    """Drilling without a test is worth 20; a free test adds 12.5 (32.5 with it, 22.5 after its cost of 10); perfect information 35."""
    assert pytest.approx([20.0, 0.0]) == UTILITY @ OIL
    assert after_answers(OIL, SEISMIC)[0] == pytest.approx([0.24, 0.35, 0.41])
    for chance, expected in ((SEISMIC, 32.5), (np.eye(3), 20 + 35.0)):
        together, after = after_answers(OIL, chance)
        assert together @ np.max(after @ UTILITY.T, axis=1) == pytest.approx(expected)


def test_a_test_of_a_rare_fault() -> None:
    """Prior 2 %, sensitivity 95 %, specificity 90 %: after a positive answer 0.162393."""
    after = posterior(np.log([0.02, 0.98]), np.log([0.95, 0.10]))
    assert after[0] == pytest.approx(0.162393, abs=1e-6)


def test_a_test_that_parts_all_causes_tells_their_entropy() -> None:
    """Of a fair coin one bit, of eight equal causes three, of a certain one none."""
    for p, bits in ((np.array([0.5, 0.5]), 1.0), (np.full(8, 1 / 8), 3.0), (np.array([1.0, 0.0]), 0.0)):
        assert information_of_tests_bits(p, [np.eye(len(p))]) == pytest.approx([bits])


# ---- order of search --------------------------------------------------------------------------------------------


def to_go(after: np.ndarray, minutes: np.ndarray, *, enough: float = np.inf) -> np.ndarray:
    """Return the product's expected minutes of checking causes one by one, for each row of their probabilities."""
    closers = [Closer(cost, closes) for cost, closes in zip(minutes, np.eye(len(minutes)), strict=True)]
    return Choosing([], closers, enough=enough).to_go(after, np.zeros((len(after), 0), dtype=bool))


def test_search_is_shortest_in_the_order_of_cost_over_probability() -> None:
    """Against every order of six causes, by brute force."""
    rng = np.random.default_rng(7)
    for _ in range(20):
        p, minutes = rng.dirichlet(np.ones(6)), rng.uniform(0.5, 20, 6)
        orders = (np.array(order) for order in itertools.permutations(range(6)))
        best = min(float(p[order] @ np.cumsum(minutes[order])) for order in orders)
        assert to_go(p[None], minutes) == pytest.approx([best])


def revealing(p: np.ndarray, minutes: np.ndarray) -> list[PredictedOutcomes]:
    """Return one test for each cause that shows with certainty whether it is that one."""
    found = []
    for i in range(len(p)):
        chance = np.stack([np.eye(len(p))[i], 1 - np.eye(len(p))[i]], axis=1)
        candidate: Any = SimpleNamespace(minutes=float(minutes[i]), test="check", where=str(i), entry=None)
        found.append(PredictedOutcomes(candidate, ("wrong", "right"), chance))
    return found


@pytest.mark.parametrize("seed", range(12))
def test_for_one_certain_fault_tests_come_in_the_cheapest_order(seed: int) -> None:
    """Tests that each reveal one cause: the expected time is that of the best of all orders, the last cause known unseen."""
    rng = np.random.default_rng(seed)
    n = 6
    p, minutes = rng.dirichlet(np.full(n, 3.0)), rng.uniform(1, 15, n)
    left, order = list(range(n)), []
    while len(left) > 1:
        now = p[left] / p[left].sum()
        ranked = rank(now, minutes[left], revealing(now, minutes[left]), [[i] for i in range(len(left))], enough=1.0)
        order.append(left.pop(int(ranked[0].outcomes.candidate.where)))

    def expected(order: list[int]) -> float:
        looked = order[: n - 1]
        return float(sum((minutes[i] + ASKING) * p[order[k:]].sum() for k, i in enumerate(looked)))

    best = min(expected(list(each)) for each in itertools.permutations(range(n)))
    assert expected([*order, *left]) == pytest.approx(best, rel=0.01)


def test_bits_per_minute_alone_mislead() -> None:
    """Ten unlikely causes with quick tests give more bits per minute, and make the search longer."""
    p = np.array([0.5, *np.full(10, 0.05)])
    minutes = np.array([10.0, *np.full(10, 2.0)])
    predicted = revealing(p, minutes)
    bits = information_of_tests_bits(p, [outcomes.chance for outcomes in predicted])
    by_bits = int(np.argmax(bits / (minutes + ASKING)))
    first = int(rank(p, minutes, predicted, [[i] for i in range(11)])[0].outcomes.candidate.where)
    assert (by_bits, first) == (1, 0)
    each = minutes + ASKING

    def expected(i: int) -> float:
        together, after = after_answers(p, predicted[i].chance)
        return float(each[i] + together @ to_go(after, each, enough=0.9))

    assert expected(first) < expected(by_bits)
