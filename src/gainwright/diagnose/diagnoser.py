"""The diagnoser of a chain: from a job and its evidence to probabilities of causes and ranked tests."""

from __future__ import annotations

import itertools
import math
import threading
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.answers import AnswerModel
from gainwright.diagnose.candidates import Catalogue
from gainwright.diagnose.cause_names import CauseNames
from gainwright.diagnose.causes import NOTHING, Cause, causes, priors
from gainwright.diagnose.confirming import direct_checks
from gainwright.diagnose.ensemble import Ensemble
from gainwright.diagnose.kept_pools import KeptPools
from gainwright.diagnose.observer import Observer
from gainwright.diagnose.ranking import Known, PredictedOutcomes, Ranked, groups, predict_outcomes, rank
from gainwright.diagnose.shop_counts import (
    ClosedCases,
    complaint_entries,
    complaint_kind,
    two_with_cases,
    unknown_with_cases,
    with_cases,
)
from gainwright.diagnose.unknown_gains import Noted, chain_with_unknown_gains, noted_gains
from gainwright.diagnose.usual_draws import DRAWS, usual_draws
from gainwright.diagnose.weighed import Evidence, Pool, WeighedEnsemble, fits_sound, mistaken
from gainwright.jobfile import instruments, possible_instruments
from gainwright.model import Check, Indicator, Multimeter, chain_kind, mended_cause

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from gainwright.diagnose.belief import Belief
    from gainwright.model import Entry, Job

    Floats = npt.NDArray[np.float64]
    Rows = npt.NDArray[np.intp]
    Hypothesis = tuple[Cause, ...]

SEED = 11
FINE_DRAWS = ((8, 512), (16, 256), (40, 128))
"""Up to so many hypotheses, so many draws of the refined pass over the remaining ones."""
FEW_EFFECTIVE = 30.0
"""A smaller effective sample size is refined with more draws."""
IN_PLAY, IN_PLAY_POOR, FEW_DRAWS = 2e-3, 1e-4, 8.0
"""Less likely hypotheses are left out of the refined pass: those that few draws speak of only if they are far less likely."""
MOST_IN_PLAY = FINE_DRAWS[-1][0]
LEAST_PREDICTED, MUCH_IN_PLAY = 1e-4, 0.8
"""Outcomes of tests aren't predicted under less likely hypotheses."""
ALONE = 0.8
"""Share of the causes up to which the outcomes of tests are predicted from an ensemble of those in play alone."""
MOST_FOR_SWAP_AND_FEED = 60
"""With more hypotheses in play, swap and feed tests aren't evaluated yet: each needs a solution of its own."""
PAIRS_FROM, MOST_PAIRS = 14, 32
"""Pairs are made of so many causes, and so many that together explain most are evaluated."""
PAIRS_WHEN = 0.15
"""Probability of a fault outside the model from which pairs of causes are evaluated."""
PAIRS_WHEN_MISTAKEN = 0.5
"""Probability that an entry is a mistake, under one cause, from which they are too."""
PREDICTED_AGAIN = 5
"""The outcomes of so many tests that lead are predicted again from more draws."""
SWAP_AND_FEED = ("swap_sides", "swap_leads", "feed", "reverse_side")
DID_SOMETHING = float(np.log(1.5))
"""A fault made an entry other than a sound chain if it is so many times as likely under one of them, as a logarithm."""
MOST_SOLVED = 64
"""An ensemble with more solutions is rebuilt, so that the memory of a long-lived diagnoser stays bounded."""


@dataclass(frozen=True, slots=True)
class CauseProbabilities:
    """Probabilities of the causes of a chain, before any wording.

    Attributes
    ----------
    evidence : the entries.
    hypotheses, probability, error : over all, singles and pairs; shape (hypotheses,).
    surprise : probability of a fault outside this model.
    wrong : probability that an entry's volts are wrong, by entry.
    active : the ensemble that the probabilities of what is in play come from.
    predicting : the same hypotheses with few draws, from which the outcomes of most tests are predicted.
    place : hypothesis of `active` -> its index here.
    """

    evidence: Evidence
    hypotheses: tuple[Hypothesis, ...]
    probability: Floats
    error: Floats
    surprise: float
    wrong: dict[int, float]
    active: WeighedEnsemble
    predicting: WeighedEnsemble
    place: tuple[int, ...]

    @property
    def entries(self) -> tuple[Entry, ...]:
        """The entries of the evidence."""
        return self.evidence.entries

    def of_causes(self) -> tuple[list[Cause], Floats, Floats]:
        """Return causes with probability and error; two simultaneous causes share theirs."""
        if len(self.hypotheses[-1]) == 1:  # pairs are last
            return [cause for (cause,) in self.hypotheses], self.probability, self.error
        share: dict[Cause, float] = {}
        spread: dict[Cause, float] = {}
        for h, p, e in zip(self.hypotheses, self.probability.tolist(), self.error.tolist(), strict=True):
            for cause in h:
                share[cause] = share.get(cause, 0.0) + p / len(h)
                spread[cause] = math.hypot(spread.get(cause, 0.0), e / len(h))
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
    predicted : the outcomes of all of them.
    """

    ranked: tuple[Ranked, ...]
    groups: tuple[tuple[int, ...], ...]
    catalogue: Catalogue
    predicted: tuple[PredictedOutcomes, ...]


class Diagnoser:
    """Diagnoses one chain, reading after reading; solutions are cached, so threads must hold `turn` to use it.

    The answer depends on job, evidence and counted cases alone: not on earlier questions, nor on the order of the
    entries. Caches are keyed by everything that they depend on.

    Parameters
    ----------
    job : the chain as it should be.
    closed : the shop's own closed cases, or how many were closed with each cause id.
    seed, draws : the same seed gives the same numbers; as many draws as are usual for so many causes by default.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """

    def __init__(
        self,
        job: Job,
        *,
        closed: ClosedCases | Mapping[str, int] | None = None,
        seed: int = SEED,
        draws: int | None = None,
    ) -> None:
        self.turn = threading.RLock()
        self.job, self.chain = job, chain_with_unknown_gains(job)
        self.instruments = instruments(job)
        self.causes = causes(job, self.chain.wiring, possible_instruments(job))
        self.table = priors(self.causes, job, self.chain.wiring)
        self.closed, self.kind = ClosedCases.of(closed), chain_kind(job)
        self.before = with_cases(self.table, self.causes, self.closed, self.kind)
        self.priors, self.unknown = self.before, unknown_with_cases(self.closed, self.kind)
        self.two, self.seed = two_with_cases(self.closed, self.kind), seed
        self._nothing = [c.id for c in self.causes].index(NOTHING)
        self.names = CauseNames(job)
        self._noted: Noted = {}
        draws = draws or usual_draws(len(self.causes), len(self.chain.nodes))
        self.all = Pool(self._build([(c,) for c in self.causes], draws, seed))
        self._pools = KeptPools(MOST_SOLVED)

    def prior_of(self, cause: str) -> float:
        """Return the probability of a cause at any place before the first entry."""
        return float(sum(p for c, p in zip(self.causes, self.before, strict=True) if c.id == cause))

    @property
    def rough(self) -> AnswerModel:
        """All single causes with few draws, as seen through instruments and answers."""
        return self.all.answer_model

    def _build(self, hypotheses: Sequence[Hypothesis], draws: int, seed: int, *, learning: bool = False) -> AnswerModel:
        plain = all(i.true_rms for i in self.instruments.values() if isinstance(i, Multimeter)) and not any(
            mark.tuned for i in self.instruments.values() if isinstance(i, Indicator) for mark in i.marks.values()
        )
        harmonics = 3 if plain else 20
        ensemble = Ensemble(self.chain, hypotheses, draws=draws, seed=seed, harmonics=harmonics, noted=self._noted)
        return AnswerModel(Observer(ensemble, self.instruments, learning=learning))

    def weigh(self, entries: Sequence[Entry]) -> CauseProbabilities:
        """Return the probabilities of the causes given the evidence."""
        evidence = Evidence.of(entries)
        before, self._noted = self._noted, noted_gains(self.chain, evidence.entries)
        if before != self._noted or self.rough.ensemble.solutions > MOST_SOLVED:
            self._pools.clear()
            self.all = Pool(self._build(self.all.hypotheses, self.rough.ensemble.draws, self.seed))
        evidence = self._with_past(evidence)
        self.priors, self.unknown = self._given(evidence.entries)
        rough = self.all.weighed(self.priors, evidence, unknown=self.unknown)
        fine = self._refine(rough, evidence)
        in_play = self._in_play(rough, evidence, fine)
        single = fine if fine is not None else in_play
        joined = self._combine(rough, fine)
        surprise = single.belief.surprise
        if len(evidence.entries) > 1 and self._perhaps_two(evidence, joined, single, surprise):
            pairs = self._weigh_pairs(rough, evidence)
            if pairs is not None:
                joined, surprise = _with_pairs(joined, pairs, surprise, self.two)
        index = {h: i for i, h in enumerate(joined.hypotheses)}
        place = tuple(index[h] for h in single.hypotheses)
        return CauseProbabilities(
            evidence,
            joined.hypotheses,
            joined.probability,
            joined.error,
            surprise,
            single.belief.wrong,
            single,
            in_play,
            place,
        )

    def _perhaps_two(self, evidence: Evidence, joined: _Combined, single: WeighedEnsemble, surprise: float) -> bool:
        """Return whether one cause explains the evidence so badly that two may explain it better."""
        doubts = mistaken(self.likelihoods(evidence), joined.probability, single.belief.wrong)
        return surprise > PAIRS_WHEN or max(doubts) >= PAIRS_WHEN_MISTAKEN

    def _with_past(self, evidence: Evidence) -> Evidence:
        """Return evidence with what one of two faults did before it was mended as past, and with whether all is as in a sound chain."""
        past, each = set[int](), self.likelihoods(evidence)
        column = {(c.id, c.where): i for i, c in enumerate(self.causes)}
        for k, entry in enumerate(evidence.entries):
            mended = column.get(mended_cause(entry.check) or ("", "?")) if isinstance(entry, Check) else None
            if mended is None or entry.is_ != "partly":  # type: ignore[union-attr]
                continue
            for i in range(k):
                ratio = each[i, mended] - each[i, self._nothing]
                past |= {i} if abs(ratio) > DID_SOMETHING else set()
        return replace(evidence, past=frozenset(past), as_sound=bool(np.all(fits_sound(each, self._nothing))))

    def _given(self, entries: Sequence[Entry]) -> tuple[Floats, float]:
        """Return the priors with the shop's cases, those with the same complaint foremost: of causes, and of anything else."""
        complaint = complaint_entries(entries)
        if not self.closed.rows or not complaint:
            return self.before, unknown_with_cases(self.closed, self.kind)
        after = self.all.weighed(self.table, self._with_past(Evidence.of(complaint))).belief
        kind = complaint_kind(complaint)
        priors = with_cases(self.table, self.causes, self.closed, self.kind, kind, after.probability)
        return priors, unknown_with_cases(self.closed, self.kind, kind, after.surprise)

    def without_each(self, evidence: Evidence) -> list[Belief]:
        """Return the beliefs over single causes, from few draws, without each of the entries."""
        return self.all.left_out(self.priors, evidence, unknown=self.unknown)

    def tests(
        self, state: CauseProbabilities, unreachable: frozenset[str] = frozenset(), declined: Sequence[Entry] = ()
    ) -> RankedTests:
        """Return the tests that can be made now, best first, and the groups of causes that none of them distinguishes."""
        active, rough = state.active, state.predicting
        probability = active.belief.probability
        entries, past = state.entries, state.evidence.past
        catalogue = Catalogue(self.job, self.chain, self.instruments, entries, unreachable, declined, past=past)
        candidates = catalogue.all()
        if len(probability) > MOST_FOR_SWAP_AND_FEED:
            candidates = [c for c in candidates if c.test not in SWAP_AND_FEED]
        predicted = [predict_outcomes(c, rough) for c in candidates]
        together = groups(probability, predicted)
        minutes, access = direct_checks(active.hypotheses, candidates, catalogue)
        before: dict[int, Known] = {}
        ranked = rank(probability, minutes, predicted, together, access=access, before=before)
        if active is not rough and ranked:
            best = {id(r.outcomes.candidate) for r in ranked[:PREDICTED_AGAIN]}
            predicted = [predict_outcomes(o.candidate, active) if id(o.candidate) in best else o for o in predicted]
            ranked = rank(probability, minutes, predicted, together, access=access, before=before)
        return RankedTests(tuple(ranked), tuple(tuple(g) for g in together), catalogue, tuple(predicted))

    def weigh_hypothesis(
        self, hypothesis: Hypothesis, entries: Sequence[Entry], *, draws: int, seed: int
    ) -> WeighedEnsemble:
        """Return the weighed ensemble of one hypothesis alone, with a given number of draws, to learn the chain's numbers."""
        return Pool(self._build([hypothesis], draws, seed, learning=True)).weighed(np.ones(1), Evidence.of(entries))

    def _in_play(self, rough: WeighedEnsemble, evidence: Evidence, fine: WeighedEnsemble | None) -> WeighedEnsemble:
        """Return the belief, from few draws, over the hypotheses that were weighed again, or else over all likely ones."""
        if fine is not None:
            index = {h: i for i, h in enumerate(self.all.hypotheses)}
            return self._predicting(evidence, np.array([index[h] for h in fine.hypotheses]))
        likely = rough.belief.probability > LEAST_PREDICTED
        likely[self._nothing] = True
        rows = np.flatnonzero(likely)
        if len(rows) > MUCH_IN_PLAY * len(likely):
            return rough
        return self._predicting(evidence, rows)

    def _predicting(self, evidence: Evidence, rows: Rows) -> WeighedEnsemble:
        """Return the belief over some of the single causes; where they are few, further tones are solved for them alone."""
        found = self.all.weighed(self.priors[rows], evidence, rows, unknown=self.unknown)
        if len(rows) > ALONE * len(self.causes):
            return found
        draws = self.rough.ensemble.draws
        pool, here = self._pools.of(found.hypotheses, draws, self.seed, build=self._build, whole=self.all)
        return WeighedEnsemble(pool.answer_model, found.belief, here)

    def _refine(self, rough: WeighedEnsemble, evidence: Evidence) -> WeighedEnsemble | None:
        """Weigh the remaining hypotheses again with more draws, if too few of the first draws still count; else return None."""
        p = rough.belief.probability
        order = [int(i) for i in np.argsort(-p)]
        poor = rough.belief.effective < FEW_DRAWS
        left = [i for i in order if p[i] > (IN_PLAY_POOR if poor[i] else IN_PLAY)][:MOST_IN_PLAY]
        thin = any(p[i] > 0.02 and rough.belief.effective[i] < FEW_EFFECTIVE for i in left)
        if not evidence.entries or not thin or len(left) >= MOST_IN_PLAY:
            return None
        left = sorted({*left, self._nothing})
        draws = next(draws for most, draws in FINE_DRAWS if len(left) <= most)
        fine, rows = self._pools.of([(self.causes[i],) for i in left], draws, self.seed + 100, build=self._build)
        return fine.weighed(self.priors[left], evidence, rows, unknown=self.unknown)

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

    def _weigh_pairs(self, rough: WeighedEnsemble, evidence: Evidence) -> WeighedEnsemble | None:
        """Weigh pairs of the causes that explain most when one of the entries is left out."""
        score = rough.belief.probability.copy()
        for belief in self.without_each(evidence):
            score = np.maximum(score, belief.probability)
        # causes that are equally likely but for rounding (a left and a right side) stay in the order of the causes
        ranked = np.argsort(-np.round(np.log(np.maximum(score, 1e-300)), 6), kind="stable")
        able = [int(i) for i in ranked if self.causes[int(i)].id != NOTHING and self.before[int(i)] > 0]
        pairs = self._promising(list(itertools.combinations(sorted(able[:PAIRS_FROM]), 2)), evidence)
        if not pairs:
            return None
        of_two = 1 - float(np.sum(self.before**2))
        prior = np.array([self.two * 2 * self.before[a] * self.before[b] / of_two for a, b in pairs])
        both = [(self.causes[a], self.causes[b]) for a, b in pairs]
        two, rows = self._pools.of(both, DRAWS, self.seed + 200, build=self._build)
        return two.weighed(prior, evidence, rows)

    def _promising(self, pairs: list[tuple[int, int]], evidence: Evidence) -> list[tuple[int, int]]:
        """Return the pairs of which one or the other explains each entry best, in the order of the causes."""
        if len(pairs) <= MOST_PAIRS:
            return pairs
        each = self.likelihoods(evidence)
        first, second = np.array(pairs).T
        explained = np.maximum(each[:, first], each[:, second]).sum(axis=0)
        explained = explained + np.log(self.before[first] * self.before[second])
        best = np.argsort(-np.round(explained, 6), kind="stable")[:MOST_PAIRS]
        return [pairs[int(i)] for i in np.sort(best)]

    def likelihoods(self, evidence: Evidence) -> Floats:
        """Return the log likelihood of each entry by itself under each single cause, shape (entries, causes)."""
        return self.all.likelihoods(evidence)


def _with_pairs(one: _Combined, two: WeighedEnsemble, surprise: float, share: float) -> tuple[_Combined, float]:
    """Return single causes and pairs together, and the remaining surprise."""
    log_one = one.log_evidence + np.log1p(-share)
    top = max(log_one, float(np.max(two.belief.log_evidence)))
    weight_one, weight_two = np.exp(log_one - top), np.exp(two.belief.log_evidence - top)
    total = float(weight_one + weight_two.sum())
    relative = np.minimum(two.belief.error / np.maximum(two.belief.probability, 1e-12), 1.0)
    probability = np.concatenate([one.probability * weight_one / total, weight_two / total])
    error = np.concatenate([one.error * weight_one / total, relative * weight_two / total])
    odds = surprise / max(1 - surprise, 1e-12) * float(weight_one) / total
    found = _Combined(one.hypotheses + two.hypotheses, probability, error, top + float(np.log(total)))
    return found, odds / (1 + odds)
