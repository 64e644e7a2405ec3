"""Bayesian inference: probabilities of hypotheses, with Monte Carlo error, from their predictions and observations.

Each hypothesis has draws of the chain's numbers, which the observations weight. An answer weights a draw by its
probability. Readings in volts are far more precise than what is known of a chain beforehand, so few draws of the prior
come close to them; their likelihood is therefore smoothed. Each draw is the centre of a normal kernel, shrunk towards
the mean of its hypothesis so that mean and covariance are preserved (West, J. R. Stat. Soc. B 55, 409, 1993; bandwidth
after Silverman, Density Estimation, 1986, 4.3.2), and the draws' predictions at other places are adjusted by regression
(Beaumont, Zhang & Balding, Genetics 162, 2025, 2002). Any reading may be completely wrong; the likelihood is summed
over the possible sets of wrong readings.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

SPAN_DB = 90.0
"""Range of a wrong reading, uniform."""
StageDoubt = tuple[str, float]
"""A stage, and by how much it may be off from what the job says of it, standard deviation in dB."""
FEWEST = 6
"""A hypothesis with fewer draws that could have given a reading uses the covariance of the others."""
MOST_FOR_PAIRS = 5
"""Up to this number of readings, any two of them may be wrong; among more, the one that most probably is, and another."""
MOST_PICKED_UP = 8
"""So many sets of small readings are taken as picked up by leads, those of the likeliest hypotheses."""
_TINY = 1e-300


@dataclass(frozen=True, slots=True)
class VoltsReading:
    """A reading in volts and its predictions.

    Attributes
    ----------
    predicted_db : dB re 1 V, shape (hypotheses, draws).
    alive : whether a draw gives a signal there, same shape.
    reads_db : the reading.
    sd_db : its standard deviation about the prediction, beyond that of the draws.
    wrong : probability that such a reading is completely wrong.
    through : the stages that the signal passed; each is off by the same in every reading behind it.
    also_db : a further standard deviation under each hypothesis, shape (hypotheses,); None for none.
    stray : probability per dB of such a reading where there is no signal, by what a lead picks up; 0 for a level that nothing picks up.
    """

    predicted_db: Floats
    alive: npt.NDArray[np.bool_]
    reads_db: float
    sd_db: float
    wrong: float
    through: frozenset[StageDoubt] = frozenset()
    also_db: Floats | None = None
    stray: float = 0.0


@dataclass(frozen=True, slots=True)
class Observation:
    """One observation: the probability of its answer under every draw, or volts, and its probability under an unknown fault.

    Attributes
    ----------
    entry : index of its entry in the evidence.
    chance : shape (hypotheses, draws or 1); None for volts.
    volts : None for an answer.
    elsewhere : its probability (or density per dB) under a fault outside this model.
    source : what it shares its mistake with, as the ear that listened to one speaker; empty for none.
    mistaken : its probability with that mistake, as `chance` is without; how often it happens is `mistake`.
    """

    entry: int
    chance: Floats | None
    volts: VoltsReading | None
    elsewhere: float
    source: str = ""
    mistaken: Floats | None = None
    mistake: float = 0.0


@dataclass(frozen=True, slots=True)
class Kernels:
    """Smoothed draws of the readings in volts, and the data to shift other predictions accordingly.

    Attributes
    ----------
    weight : of each draw in mean and covariance, shape (hypotheses, draws).
    count : effective number of draws, shape (hypotheses,).
    predicted, centred : as given, and the shrunk middles, shape (hypotheses, draws, readings).
    shrink, squared : factor of the shrinking and h squared, shape (hypotheses,).
    total : covariance of the predictions (including h squared) plus that of the readings, shape (hypotheses, readings,
        readings).
    reads : readings in dB, shape (readings,).
    used : the readings taken as right in the leading case, indices.
    through : the stages that each reading passed.
    """

    weight: Floats
    count: Floats
    predicted: Floats
    centred: Floats
    shrink: Floats
    squared: Floats
    total: Floats
    reads: Floats
    used: tuple[int, ...]
    through: tuple[frozenset[StageDoubt], ...]


@dataclass(frozen=True, slots=True)
class Belief:
    """Probabilities of hypotheses given observations.

    Attributes
    ----------
    probability, error : of each hypothesis and its Monte Carlo standard error, shape (hypotheses,).
    weight : of each draw, summing to 1 over each possible hypothesis, shape (hypotheses, draws).
    effective : effective sample size of each, shape (hypotheses,).
    log_evidence : of each hypothesis, prior included, shape (hypotheses,).
    surprise : probability of a fault outside this model.
    wrong : probability that an entry's reading in volts is completely wrong, by entry.
    kernels : of the readings in volts, None if there are none.
    """

    probability: Floats
    error: Floats
    weight: Floats
    effective: Floats
    log_evidence: Floats
    surprise: float
    wrong: dict[int, float]
    kernels: Kernels | None

    def moved(self, predicted_db: Floats, through: frozenset[StageDoubt] = frozenset()) -> tuple[Floats, Floats]:
        """Return predictions at another node given the readings, and their spread beyond the draws', both dB."""
        if self.kernels is None:
            return predicted_db, np.full(len(predicted_db), np.sqrt(_in_common(through, through)))
        return _moved(self.kernels, predicted_db, through)


def posterior(log_prior: Floats, log_likelihood: Floats) -> Floats:
    """Return Bayes' rule over the last axis: shapes (..., hypotheses)."""
    total = np.asarray(log_prior) + log_likelihood
    total = total - np.max(total, axis=-1, keepdims=True)
    weight = np.exp(total)
    return np.asarray(weight / np.sum(weight, axis=-1, keepdims=True))


def weigh(
    prior: Floats,
    observations: Sequence[Observation],
    *,
    draws: int,
    unknown: float,
    elsewhere: float | None = None,
) -> Belief:
    """Return the belief.

    Parameters
    ----------
    prior : of each hypothesis, shape (hypotheses,); need not sum to 1.
    unknown : prior of a fault outside this model.
    elsewhere : log likelihood of all observations under it; by default that of each by itself.
    """
    answers = _answers(observations, (len(prior), draws))
    volts = [(o.entry, o.volts) for o in observations if o.volts is not None]
    with np.errstate(divide="ignore"):
        log_prior = np.log(prior)
    terms, kernels, wrong_sets = _volts_terms([v for _, v in volts], answers, log_prior[:, None] + answers)
    log_terms = log_prior[:, None] - np.log(draws) + answers + terms
    top = np.max(log_terms)
    mass = np.exp(log_terms - top)
    each = mass.sum(axis=1)
    total = float(each.sum())
    probability = each / total
    error = _ratio_error(mass, probability)
    weight = mass / np.maximum(each, _TINY)[:, None]
    with np.errstate(divide="ignore"):
        evidence = np.log(each) + top
    if elsewhere is None:
        elsewhere = sum(float(np.log(o.elsewhere)) for o in observations)
    known = np.log(total) + top + np.log1p(-unknown)
    surprise = float(1 / (1 + np.exp(np.clip(known - elsewhere - np.log(unknown), -700, 700))))
    wrong = _wrong(wrong_sets, [e for e, _ in volts], log_prior[:, None] - np.log(draws) + answers, top)
    effective = 1 / np.maximum(np.sum(weight**2, axis=1), _TINY)
    if kernels is not None:
        kernels = _leading(kernels, wrong_sets, log_prior[:, None] + answers)
    return Belief(probability, error, weight, effective, evidence, surprise, wrong, kernels)


def _answers(observations: Sequence[Observation], shape: tuple[int, int]) -> Floats:
    """Return the log likelihood of all answers under every draw; one mistake is shared by all of one source."""
    found = np.zeros(shape)
    shared: dict[str, list[Observation]] = {}
    for o in observations:
        if o.source:
            shared.setdefault(o.source, []).append(o)
        elif o.chance is not None:
            found = found + np.log(np.maximum(o.chance, _TINY))
    for each in shared.values():
        found = found + np.log(np.maximum(with_mistake(each), _TINY))
    return found


def with_mistake(observations: Sequence[Observation]) -> Floats:
    """Return the likelihood of the answers of one source together, whether it is mistaken in all of them or in none."""
    right, wrong, share = np.ones(1), np.ones(1), observations[0].mistake
    for o in observations:
        if o.chance is not None and o.mistaken is not None:
            right, wrong = right * o.chance, wrong * o.mistaken
    return np.asarray((1 - share) * right + share * wrong)


def _ratio_error(mass: Floats, probability: Floats) -> Floats:
    """Return the standard error of each probability as a ratio of means over draws (delta method; Cochran, 1977, 2.11)."""
    by_draw = mass.sum(axis=0)
    off = mass - probability[:, None] * by_draw
    draws = mass.shape[1]
    return np.asarray(np.sqrt(np.sum(off**2, axis=1) * draws / max(draws - 1, 1)) / by_draw.sum())


Terms = list[tuple[tuple[int, ...], tuple[int, ...], "Floats"]]
"""Sets of readings taken as right, those taken as picked up where there is no signal, and the log likelihood of every draw under each."""


def _volts_terms(volts: Sequence[VoltsReading], answers: Floats, log_rest: Floats) -> tuple[Any, Kernels | None, Terms]:
    if not volts:
        return 0.0, None, []
    kernels = _kernels(volts, answers)
    alive = np.stack([v.alive for v in volts], axis=-1)
    wrong = np.array([v.wrong for v in volts])
    n = len(volts)
    sets: Terms = []
    dead: list[Floats] = [np.asarray(np.where(v.alive, np.log(_TINY), np.log(max(v.stray, _TINY)))) for v in volts]

    def drop(dropped: tuple[int, ...], picked_up: tuple[int, ...] = ()) -> Floats:
        used = tuple(k for k in range(n) if k not in dropped and k not in picked_up)
        right = [*used, *picked_up]
        odds = float(np.sum(np.log(1 - wrong[right])) + np.sum(np.log(wrong[list(dropped)] / SPAN_DB)))
        term = _log_normal(kernels, used, alive) + odds
        for k in picked_up:
            term = term + dead[k]
        sets.append((used, picked_up, term))
        return sets[-1][-1]

    none = float(np.max(drop(()) + log_rest))
    without = [float(np.max(drop((k,)) + log_rest)) for k in range(n)]
    if n <= MOST_FOR_PAIRS:
        pairs = list(itertools.combinations(range(n), 2))
    else:
        worst = int(np.argmax(without))
        # where one less doesn't agree better, two less don't either
        pairs = [(min(worst, k), max(worst, k)) for k in range(n) if k != worst] if without[worst] > none else []
    for pair in pairs:
        drop(pair)
    for picked_up in _picked_up(volts, log_rest):
        drop((), picked_up)
        for k in (k for k in range(n) if k not in picked_up):
            drop((k,), picked_up)
    stacked = np.stack([term for *_, term in sets])
    top = np.max(stacked, axis=0)
    total: Floats = top + np.log(np.sum(np.exp(stacked - top), axis=0))
    return total, kernels, sets


def _picked_up(volts: Sequence[VoltsReading], log_rest: Floats) -> list[tuple[int, ...]]:
    """Return which readings together may be what a lead picks up: those of the hypotheses' likeliest draws that give no signal there."""
    small = [k for k, v in enumerate(volts) if v.stray > 0]
    if not small:
        return []
    best, rows = np.argmax(log_rest, axis=1), np.arange(len(log_rest))
    silent = np.stack([~volts[k].alive[rows, best] for k in small], axis=1)
    likeliest: dict[tuple[int, ...], float] = {}
    for i in rows:
        at = tuple(k for k, s in zip(small, silent[i], strict=True) if s)
        likeliest[at] = max(likeliest.get(at, -np.inf), float(log_rest[i, best[i]]))
    found = sorted((at for at in likeliest if at), key=lambda at: (-likeliest[at], at))
    return found[:MOST_PICKED_UP]


def _kernels(volts: Sequence[VoltsReading], answers: Floats) -> Kernels:
    predicted = np.stack([v.predicted_db for v in volts], axis=-1)
    alive = np.all([v.alive for v in volts], axis=0)
    weight = np.exp(answers - np.max(answers, axis=1, keepdims=True)) * alive
    some = weight.sum(axis=1, keepdims=True)
    weight = np.where(some > 0, weight / np.maximum(some, _TINY), 1 / weight.shape[1])
    count = np.where(some[:, 0] > 0, 1 / np.sum(weight**2, axis=1), 0.0)
    mean = np.einsum("hd,hdi->hi", weight, predicted)
    off = predicted - mean[:, None]
    covariance = np.einsum("hd,hdi,hdj->hij", weight, off, off)
    enough = count >= FEWEST
    if np.any(enough) and not np.all(enough):
        covariance[~enough] = np.mean(covariance[enough], axis=0)
    n = len(volts)
    wide = np.zeros((len(predicted), n, n))
    for k, v in enumerate(volts):
        wide[:, k, k] = 0.0 if v.also_db is None else v.also_db**2
    h = (4 / (n + 2)) ** (1 / (n + 4)) * np.maximum(count, FEWEST) ** (-1 / (n + 4))
    squared = np.minimum(h, 0.9) ** 2
    shrink = np.sqrt(1 - squared)
    shared = [[_in_common(v.through, other.through) for other in volts] for v in volts]
    own = np.diag([v.sd_db**2 for v in volts]) + np.array(shared)
    return Kernels(
        weight,
        count,
        predicted,
        mean[:, None] + shrink[:, None, None] * off,
        shrink,
        squared,
        squared[:, None, None] * covariance + own + wide,
        np.array([v.reads_db for v in volts]),
        tuple(range(n)),
        tuple(v.through for v in volts),
    )


def _in_common(one: frozenset[StageDoubt], other: frozenset[StageDoubt]) -> float:
    """Return the covariance of two readings by the stages that both passed, dB squared."""
    return sum(sd_db**2 for _, sd_db in one & other)


def _log_normal(kernels: Kernels, used: tuple[int, ...], alive: npt.NDArray[np.bool_]) -> Floats:
    """Return the log density of the readings taken as right under every draw's kernel; -inf where a draw gives no signal."""
    if not used:
        return np.zeros(alive.shape[:2])
    pick = list(used)
    total = kernels.total[:, pick][:, :, pick]
    off = kernels.reads[pick] - kernels.centred[:, :, pick]
    inverse = np.linalg.inv(total)
    _, log_det = np.linalg.slogdet(total)
    square = np.einsum("hdi,hdi->hd", off @ inverse, off)
    log_density = -0.5 * (square + (log_det + len(pick) * np.log(2 * np.pi))[:, None])
    return np.asarray(np.where(np.all(alive[:, :, pick], axis=-1), log_density, np.log(_TINY)))


def _wrong(sets: Terms, entries: Sequence[int], log_rest: Floats, top: float) -> dict[int, float]:
    """Return the probability that each reading is wrong."""
    masses = [
        ({*used, *picked}, float(np.sum(np.exp(np.minimum(term + log_rest - top, 700))))) for used, picked, term in sets
    ]
    total = sum(m for _, m in masses)
    return {
        entry: sum(m for right, m in masses if k not in right) / total if total > 0 else 0.0
        for k, entry in enumerate(entries)
    }


def _leading(kernels: Kernels, sets: Terms, log_rest: Floats) -> Kernels:
    """Keep the most probable set of right readings, by which other predictions are shifted."""
    best = max(sets, key=lambda each: float(np.max(each[-1] + log_rest)))
    return replace(kernels, used=best[0])


def _moved(kernels: Kernels, predicted: Floats, through: frozenset[StageDoubt]) -> tuple[Floats, Floats]:
    pick = list(kernels.used)
    own = _in_common(through, through)
    if not pick:
        return predicted, np.full(len(predicted), np.sqrt(own))
    mean = np.einsum("hd,hd->h", kernels.weight, predicted)
    off = predicted - mean[:, None]
    read_mean = np.einsum("hd,hdi->hi", kernels.weight, kernels.predicted[:, :, pick])
    read_off = kernels.predicted[:, :, pick] - read_mean[:, None]
    cross = np.einsum("hd,hd,hdi->hi", kernels.weight, off, read_off) * kernels.squared[:, None]
    cross = cross + np.array([_in_common(through, kernels.through[k]) for k in pick])
    total = kernels.total[:, pick][:, :, pick]
    gain = np.linalg.solve(total, cross[:, :, None])[:, :, 0]
    moved = mean[:, None] + kernels.shrink[:, None] * off
    moved = moved + np.einsum("hi,hdi->hd", gain, kernels.reads[pick] - kernels.centred[:, :, pick])
    variance = kernels.squared * np.einsum("hd,hd->h", kernels.weight, off**2) + own
    variance = variance - np.einsum("hi,hi->h", gain, cross)
    return moved, np.sqrt(np.maximum(variance, 0.0))
