"""The diagnoser of a chain: from a job and its evidence to probabilities of causes and ranked tests."""

from __future__ import annotations

import itertools
import json
import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.answers import AnswerModel
from gainwright.diagnose.belief import Belief, weigh
from gainwright.diagnose.candidates import Catalogue
from gainwright.diagnose.causes import NOTHING, PRIOR_TWO, PRIOR_UNKNOWN, Cause, causes, priors
from gainwright.diagnose.ensemble import Ensemble
from gainwright.diagnose.observations import observe
from gainwright.diagnose.observer import Observer
from gainwright.diagnose.ranking import Ranked, groups, predict_outcomes, rank
from gainwright.diagnose.shop_counts import ClosedCases, with_cases
from gainwright.diagnose.unknown_gains import chain_with_unknown_gains
from gainwright.jobfile import at_hand, instruments
from gainwright.model import Indicator, Multimeter, as_mapping, chain_kind

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from gainwright.model import Entry, Job

    Floats = npt.NDArray[np.float64]
    Hypothesis = tuple[Cause, ...]

DRAWS = 64
SEED = 11
FINE_CASES = 4096
"""Hypotheses times draws of the refined pass over the remaining hypotheses."""
FINE_DRAWS = (96, 512)
FEW_EFFECTIVE = 30.0
"""A smaller effective sample size is refined with more draws."""
IN_PLAY = 2e-3
"""Less likely hypotheses are left out of the refined pass."""
MOST_IN_PLAY = 40
MOST_FOR_SWAP_AND_FEED = 60
"""With more hypotheses in play, swap and feed tests aren't evaluated yet: each needs a solution of its own."""
PAIRS_FROM = 14
PAIRS_WHEN = 0.15
"""Probability of something other than one cause from which pairs of causes are evaluated."""
SWAP_AND_FEED = ("swap_sides", "swap_leads", "feed")
LEAST_SCORE = 1e-300
MOST_ENSEMBLES = 4
"""Ensembles of refined passes and pairs that are cached with their solutions; the least recently used is dropped first."""
MOST_SOLVED = 64
"""An ensemble with more solutions is rebuilt, so that the memory of a long-lived diagnoser stays bounded."""


@dataclass(frozen=True, slots=True)
class WeighedEnsemble:
    """One ensemble with its belief.

    Attributes
    ----------
    answer_model : the ensemble, as seen through instruments and answers.
    belief : over its hypotheses.
    """

    answer_model: AnswerModel
    belief: Belief

    @property
    def hypotheses(self) -> tuple[Hypothesis, ...]:
        """The hypotheses, in order."""
        return self.answer_model.ensemble.hypotheses


@dataclass(frozen=True, slots=True)
class CauseProbabilities:
    """Probabilities of the causes of a chain, before any wording.

    Attributes
    ----------
    entries : the evidence.
    hypotheses, probability, error : over all, singles and pairs; shape (hypotheses,).
    surprise : probability of a fault outside this model.
    wrong : probability that an entry's volts are wrong, by entry.
    active : the ensemble that predictions come from.
    place : hypothesis of `active` -> its index here.
    """

    entries: tuple[Entry, ...]
    hypotheses: tuple[Hypothesis, ...]
    probability: Floats
    error: Floats
    surprise: float
    wrong: dict[int, float]
    active: WeighedEnsemble
    place: tuple[int, ...]

    def of_causes(self) -> tuple[list[Cause], Floats, Floats]:
        """Return causes with probability and error; two simultaneous causes share theirs."""
        share: dict[Cause, float] = {}
        spread: dict[Cause, float] = {}
        for h, p, e in zip(self.hypotheses, self.probability, self.error, strict=True):
            for cause in h:
                share[cause] = share.get(cause, 0.0) + p / len(h)
                spread[cause] = float(np.hypot(spread.get(cause, 0.0), e / len(h)))
        found = list(share)
        return found, np.array([share[c] for c in found]), np.array([spread[c] for c in found])


@dataclass(frozen=True, slots=True)
class _Combined:
    """All hypotheses with probabilities, and the log evidence of all of them together."""

    hypotheses: tuple[Hypothesis, ...]
    probability: Floats
    error: Floats
    log_evidence: float


@dataclass(frozen=True, slots=True)
class RankedTests:
    """The next tests.

    Attributes
    ----------
    ranked : tests, best first.
    groups : indices of the active hypotheses that no test distinguishes, most probable group first.
    catalogue : all possible tests.
    """

    ranked: tuple[Ranked, ...]
    groups: tuple[tuple[int, ...], ...]
    catalogue: Catalogue


class Diagnoser:
    """Diagnoses one chain, reading after reading; solutions are cached, so threads must hold `turn` to use it.

    The answer depends on job, evidence and counted cases alone: not on earlier questions, nor on the order of the
    entries. Caches are keyed by everything that they depend on.

    Parameters
    ----------
    job : the chain as it should be.
    closed : the shop's own closed cases, or how many were closed with each cause id.
    seed : the same seed gives the same numbers.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """

    def __init__(
        self, job: Job, *, closed: ClosedCases | Mapping[str, int] | None = None, seed: int = SEED, draws: int = DRAWS
    ) -> None:
        self.turn = threading.RLock()
        self.job = job
        self.chain = chain_with_unknown_gains(job)
        self.instruments = instruments(job)
        self.causes = causes(job, self.chain.wiring, at_hand(job))
        self.table = priors(self.causes, job, self.chain.wiring)
        self.priors = with_cases(self.table, self.causes, ClosedCases.of(closed), chain_kind(job))
        self.seed = seed
        self.rough = self._build([(c,) for c in self.causes], draws, seed)
        self._ensembles: OrderedDict[tuple[Hypothesis, ...], AnswerModel] = OrderedDict()

    def prior_of(self, cause: str) -> float:
        """Return the probability of a cause at any place before the first entry."""
        return float(sum(p for c, p in zip(self.causes, self.priors, strict=True) if c.id == cause))

    def _ensemble_of(self, hypotheses: Sequence[Hypothesis], draws: int, seed: int) -> AnswerModel:
        """Return the ensemble of these hypotheses in this order, from the cache or built."""
        key = tuple(hypotheses)
        found = self._ensembles.pop(key, None)
        if found is None or found.ensemble.solutions > MOST_SOLVED:
            found = self._build(key, draws, seed)
        self._ensembles[key] = found
        while len(self._ensembles) > MOST_ENSEMBLES:
            self._ensembles.popitem(last=False)
        return found

    def _build(self, hypotheses: Sequence[Hypothesis], draws: int, seed: int) -> AnswerModel:
        plain = all(i.true_rms for i in self.instruments.values() if isinstance(i, Multimeter)) and not any(
            mark.tuned for i in self.instruments.values() if isinstance(i, Indicator) for mark in i.marks.values()
        )
        ensemble = Ensemble(self.chain, hypotheses, draws=draws, seed=seed, harmonics=3 if plain else 20)
        return AnswerModel(Observer(ensemble, self.instruments))

    def weigh(self, entries: Sequence[Entry]) -> CauseProbabilities:
        """Return the probabilities of the causes given the evidence."""
        entries = tuple(entries)
        if self.rough.ensemble.solutions > MOST_SOLVED:
            self.rough = self._build(self.rough.ensemble.hypotheses, self.rough.ensemble.draws, self.seed)
        rough = self._weighed(self.rough, self.priors, entries)
        fine = self._refine(rough, entries)
        single = fine if fine is not None else rough
        joined = self._combine(rough, fine)
        surprise = single.belief.surprise
        if len(entries) > 1 and surprise > PAIRS_WHEN:
            pairs = self._weigh_pairs(rough, entries)
            if pairs is not None:
                joined, surprise = _with_pairs(joined, pairs, surprise)
        index = {h: i for i, h in enumerate(joined.hypotheses)}
        place = tuple(index[h] for h in single.hypotheses)
        return CauseProbabilities(
            entries,
            joined.hypotheses,
            joined.probability,
            joined.error,
            surprise,
            single.belief.wrong,
            single,
            place,
        )

    def tests(
        self, state: CauseProbabilities, unreachable: frozenset[str] = frozenset(), declined: Sequence[Entry] = ()
    ) -> RankedTests:
        """Return the tests that can be made now, best first, and the groups of causes that none of them distinguishes."""
        answer_model, belief = state.active.answer_model, state.active.belief
        catalogue = Catalogue(self.job, self.chain, self.instruments, state.entries, unreachable, declined)
        candidates = catalogue.all()
        probability = belief.probability
        if len(probability) > MOST_FOR_SWAP_AND_FEED:
            candidates = [c for c in candidates if c.test not in SWAP_AND_FEED]
        predicted = [predict_outcomes(c, answer_model, belief) for c in candidates]
        together = groups(probability, predicted)
        minutes = np.array([catalogue.confirming(h[0], candidates) for h in state.active.hypotheses])
        return RankedTests(
            tuple(rank(probability, minutes, predicted, together)), tuple(tuple(g) for g in together), catalogue
        )

    def weigh_hypothesis(
        self, hypothesis: Hypothesis, entries: Sequence[Entry], *, draws: int, seed: int
    ) -> WeighedEnsemble:
        """Return the weighed ensemble of one hypothesis alone, with a given number of draws."""
        return self._weighed(self._build([hypothesis], draws, seed), np.ones(1), tuple(entries))

    def _weighed(self, answer_model: AnswerModel, prior: Floats, entries: tuple[Entry, ...]) -> WeighedEnsemble:
        found = [o for i in _in_order(entries) for o in observe(i, entries[i], answer_model)]
        return WeighedEnsemble(
            answer_model, weigh(prior, found, draws=answer_model.ensemble.draws, unknown=PRIOR_UNKNOWN)
        )

    def _refine(self, rough: WeighedEnsemble, entries: tuple[Entry, ...]) -> WeighedEnsemble | None:
        """Weigh the remaining hypotheses again with more draws, if too few of the first draws still count; else return None."""
        p = rough.belief.probability
        order = [int(i) for i in np.argsort(-p)]
        left = [i for i in order if p[i] > IN_PLAY][:MOST_IN_PLAY]
        thin = any(p[i] > 0.02 and rough.belief.effective[i] < FEW_EFFECTIVE for i in left)
        if not entries or not thin or len(left) >= MOST_IN_PLAY:
            return None
        nothing = next(i for i, c in enumerate(self.causes) if c.id == NOTHING)
        left = sorted({*left, nothing})
        draws = int(np.clip(FINE_CASES // len(left), *FINE_DRAWS))
        fine = self._ensemble_of([(self.causes[i],) for i in left], draws, self.seed + 100)
        return self._weighed(fine, self.priors[left], entries)

    def _combine(self, rough: WeighedEnsemble, fine: WeighedEnsemble | None) -> _Combined:
        """Return all single causes, with the refined values of those that were weighed again."""
        log_evidence = rough.belief.log_evidence.copy()
        relative = rough.belief.error / np.maximum(rough.belief.probability, 1e-12)
        if fine is not None:
            index = {h: i for i, h in enumerate(rough.hypotheses)}
            for k, h in enumerate(fine.hypotheses):
                log_evidence[index[h]] = fine.belief.log_evidence[k]
                relative[index[h]] = fine.belief.error[k] / max(float(fine.belief.probability[k]), 1e-12)
        top = float(np.max(log_evidence))
        weight = np.exp(log_evidence - top)
        probability = weight / weight.sum()
        error = probability * np.minimum(relative, 1.0)
        return _Combined(rough.hypotheses, probability, error, top + float(np.log(weight.sum())))

    def _weigh_pairs(self, rough: WeighedEnsemble, entries: tuple[Entry, ...]) -> WeighedEnsemble | None:
        """Weigh pairs of the causes that explain most when one of the entries is left out."""
        score = rough.belief.probability.copy()
        for left_out in range(len(entries)):
            rest = entries[:left_out] + entries[left_out + 1 :]
            score = np.maximum(score, self._weighed(self.rough, self.priors, rest).belief.probability)
        # causes that are equally likely but for rounding (a left and a right side) stay in the order of the causes
        ranked = np.argsort(-np.round(np.log(np.maximum(score, LEAST_SCORE)), 6), kind="stable")
        able = [int(i) for i in ranked if self.causes[int(i)].id != NOTHING and self.priors[int(i)] > 0]
        pairs = list(itertools.combinations(sorted(able[:PAIRS_FROM]), 2))
        if not pairs:
            return None
        of_two = 1 - float(np.sum(self.priors**2))
        prior = np.array([PRIOR_TWO * 2 * self.priors[a] * self.priors[b] / of_two for a, b in pairs])
        two = self._ensemble_of([(self.causes[a], self.causes[b]) for a, b in pairs], DRAWS, self.seed + 200)
        return self._weighed(two, prior, entries)


def _in_order(entries: tuple[Entry, ...]) -> list[int]:
    """Return indices of entries in a canonical order, so that sums don't depend on their order."""
    return sorted(range(len(entries)), key=lambda i: json.dumps(as_mapping(entries[i]), sort_keys=True, default=str))


def _with_pairs(one: _Combined, two: WeighedEnsemble, surprise: float) -> tuple[_Combined, float]:
    """Return single causes and pairs together, and the remaining surprise."""
    log_one = one.log_evidence + np.log1p(-PRIOR_TWO)
    top = max(log_one, float(np.max(two.belief.log_evidence)))
    weight_one, weight_two = np.exp(log_one - top), np.exp(two.belief.log_evidence - top)
    total = float(weight_one + weight_two.sum())
    relative = np.minimum(two.belief.error / np.maximum(two.belief.probability, 1e-12), 1.0)
    probability = np.concatenate([one.probability * weight_one / total, weight_two / total])
    error = np.concatenate([one.error * weight_one / total, relative * weight_two / total])
    odds = surprise / max(1 - surprise, 1e-12) * float(weight_one) / total
    found = _Combined(one.hypotheses + two.hypotheses, probability, error, top + float(np.log(total)))
    return found, odds / (1 + odds)
