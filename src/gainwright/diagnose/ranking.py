"""Ranking of tests: the probability of each outcome under each cause, and groups of indistinguishable causes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.choosing import Act, Choosing, Closer
from gainwright.diagnose.information import information_of_tests_bits
from gainwright.diagnose.observations import (
    THD_CLASSES,
    WRONG,
    heard_parts,
    quiet_chance,
    stimulus_of,
    swapped,
    thd_chance,
    through,
    told_words,
)
from gainwright.model import Check, HeardSpeaker, Indicator, Reading, Recorder, SwapTest
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.diagnose.belief import Belief, StageDoubt
    from gainwright.diagnose.candidates import Candidate
    from gainwright.diagnose.weighed import WeighedEnsemble

    Floats = npt.NDArray[np.float64]

STEP_DB = 2.0
EDGES_DB = np.arange(-52.0, 44.0 + STEP_DB, STEP_DB)
"""Bins of a read level, dB re 1 V; lower levels count as silence."""
WIDTHS_DB = (0.3, 1.0, 2.0, 4.0)
"""Standard deviations that a level's bins are smoothed by; the first is less than a bin and isn't."""
ENOUGH = 0.9
"""Probability from which a cause counts as found."""
SAME = 0.12
"""Causes whose outcomes differ by less than this (total variation) in every test are indistinguishable."""
COMPARED_AT_ONCE = 100
"""Outcomes that are compared before those hypotheses are left out that differ in them."""
FOLLOWERS = 2
"""Number of tests with the most bits per minute that are evaluated as following the best ones."""
RARE = 2e-3
"""Outcomes of a test less likely than this count as one when tests are chosen."""
FEWEST_BITS = 0.02
LEAST_COUNTED = 1e-4
"""Groups less likely than this don't affect the choice."""
ASKING = 1.0
"""Minutes to ask for a test and get its answer by telephone (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class PredictedOutcomes:
    """A candidate with its possible outcomes and their probabilities.

    Attributes
    ----------
    candidate : the test.
    labels : of its outcomes; for volts the middle of each bin in dB re 1 V, `quiet` for silence.
    chance : of each outcome under each active hypothesis, shape (hypotheses, outcomes).
    """

    candidate: Candidate
    labels: tuple[str | float, ...]
    chance: Floats


Known = tuple[PredictedOutcomes, float, float]
"""A test with its bits and its value before more plies."""


@dataclass(frozen=True, slots=True)
class Ranked:
    """A test with its value.

    Attributes
    ----------
    outcomes : the test and its outcomes.
    bits : expected information about the groups of causes.
    saved : minutes by which it shortens the search.
    """

    outcomes: PredictedOutcomes
    bits: float
    saved: float


def predict_outcomes(candidate: Candidate, weighed: WeighedEnsemble) -> PredictedOutcomes:
    """Return the outcomes of a test and their probabilities under each hypothesis in play."""
    answer_model, rows = weighed.answer_model, weighed.rows
    entry, observer = candidate.entry, answer_model.observer
    if isinstance(entry, Reading):
        stimulus = stimulus_of(entry)
        assert stimulus is not None  # noqa: S101  candidates play a tone
        node = observer.nodes[entry.at]
        instrument = observer.instruments[entry.with_]
        if isinstance(instrument, Indicator):
            words, seen = observer.shows(stimulus, node, entry.with_, candidate.also_solve)
            return _seen_in_play(_weighted(candidate, words, seen, weighed))
        levels = observer.levels(stimulus, node, entry.with_, candidate.also_solve)
        labels, chance = _binned(
            levels.shown_db[rows],
            quiet_chance(levels)[rows],
            weighed.belief,
            WRONG[instrument.kind],
            through(entry, node, observer),
        )
        if isinstance(instrument, Recorder):
            thd = _weighted(candidate, THD_CLASSES, thd_chance(levels, observer), weighed)
            chance = (chance[:, :, None] * thd.chance[:, None, :]).reshape(len(chance), -1)
            labels = tuple(label for label in labels for _ in THD_CLASSES)
        return PredictedOutcomes(candidate, labels, chance)
    if isinstance(entry, HeardSpeaker):
        there = heard_parts(entry, answer_model)
        heard = _weighted(candidate, there.labels, there.chance, weighed)
        return replace(heard, chance=heard.chance @ told_words(entry))
    if isinstance(entry, SwapTest):
        before = stimulus_of(entry)
        assert before is not None  # noqa: S101  candidates play a tone
        answers = answer_model.swapped(entry.swap, before, swapped(before, entry.swap))
    else:
        assert isinstance(entry, Check)  # noqa: S101  the kinds are closed
        answers = answer_model.check(entry.check, running=entry.engine == "on")
    return _weighted(candidate, answers.labels, answers.chance, weighed)


def _weighted(
    candidate: Candidate, labels: tuple[str, ...], chance: Floats, weighed: WeighedEnsemble
) -> PredictedOutcomes:
    """Average probabilities of shape (answers, hypotheses of the ensemble, draws or 1) over weighted draws."""
    if not np.array_equal(weighed.rows, np.arange(chance.shape[1])):
        chance = chance[:, weighed.rows]
    if chance.shape[-1] == 1:
        return PredictedOutcomes(candidate, labels, chance[:, :, 0].T)
    weight = weighed.belief.weight
    return PredictedOutcomes(candidate, labels, np.einsum("khd,hd->hk", chance, weight))


def _seen_in_play(found: PredictedOutcomes) -> PredictedOutcomes:
    """Return what an indicator shows with all that no hypothesis in play gives as one outcome at the end."""
    least = np.min(found.chance)
    given = np.max(found.chance, axis=0) > 2 * least
    if np.all(given):
        return found
    other = found.chance[:, ~given].sum(axis=1)
    labels = tuple(label for label, is_given in zip(found.labels, given, strict=True) if is_given)
    chance = np.column_stack([found.chance[:, given], other])
    return PredictedOutcomes(found.candidate, (*labels, say("something else")), chance)


def _binned(
    shown_db: Floats, quiet: Floats, belief: Belief, wrong: float, passed: frozenset[StageDoubt]
) -> tuple[tuple[str | float, ...], Floats]:
    """Return the probability of silence and of each bin of a level, shape (hypotheses, 1 + bins)."""
    moved, spread_db = belief.moved(shown_db, passed)
    bins = len(EDGES_DB) - 1
    hypotheses = len(shown_db)
    alive = belief.weight * (1 - quiet)
    place = np.clip((moved - EDGES_DB[0]) / STEP_DB - 0.5, 0, bins - 1.001)
    low = place.astype(np.intp)
    share = place - low
    flat = (np.arange(hypotheses)[:, None] * bins + low).ravel()
    found = np.bincount(flat, (alive * (1 - share)).ravel(), hypotheses * bins).astype(np.float64)
    found += np.bincount(flat + 1, (alive * share).ravel(), hypotheses * bins)
    chance = _smoothed(found.reshape(hypotheses, bins), spread_db)
    nothing = np.einsum("hd,hd->h", belief.weight, quiet)
    chance = np.column_stack([nothing, chance])
    chance /= np.maximum(chance.sum(axis=1, keepdims=True), 1e-12)
    middles = EDGES_DB[:-1] + STEP_DB / 2
    return ("quiet", *(float(m) for m in middles)), (1 - wrong) * chance + wrong / chance.shape[1]


def _smoothed(found: Floats, spread_db: Floats) -> Floats:
    """Convolve each hypothesis's bins with a normal distribution of its own width."""
    which = np.argmin(np.abs(spread_db[:, None] - np.array(WIDTHS_DB)), axis=1)
    out = found.copy()
    for i, width_db in enumerate(WIDTHS_DB[1:], 1):
        rows = which == i
        if np.any(rows):
            out[rows] = found[rows] @ _kernel(found.shape[1], width_db)
    return out


@cache
def _kernel(bins: int, width_db: float) -> Floats:
    """Return the shares of each bin in every other by a normal distribution, shape (bins, bins)."""
    middles = np.arange(bins) * STEP_DB
    kernel = np.exp(-0.5 * ((middles[:, None] - middles) / width_db) ** 2)
    return np.asarray(kernel / kernel.sum(axis=1, keepdims=True))


def _indistinguishable(likely: Sequence[int], predicted: Sequence[PredictedOutcomes]) -> npt.NDArray[np.bool_]:
    """Return whether no test's outcomes differ between two of some hypotheses by `SAME`, shape (hypotheses, hypotheses)."""
    one, other = np.triu_indices(len(likely), 1)
    begin = 0
    while begin < len(predicted) and len(one):
        end, columns = begin, [0]
        while end < len(predicted) and (end == begin or columns[-1] < COMPARED_AT_ONCE):
            columns.append(columns[-1] + predicted[end].chance.shape[1])
            end += 1
        chance = np.concatenate([o.chance[likely] for o in predicted[begin:end]], axis=1)
        differ = np.add.reduceat(np.abs(chance[one] - chance[other]), columns[:-1], axis=1)
        same = np.all(0.5 * differ < SAME, axis=1)
        one, other, begin = one[same], other[same], end
    found = np.zeros((len(likely), len(likely)), dtype=bool)
    found[one, other] = found[other, one] = True
    return found


def groups(probability: Floats, predicted: Sequence[PredictedOutcomes], *, least: float = 2e-3) -> list[list[int]]:
    """Return groups of hypotheses that no test distinguishes, the most probable first; improbable ones stay single."""
    order = [int(i) for i in np.argsort(-probability)]
    likely = [i for i in order if probability[i] >= least][:40]
    together = _indistinguishable(likely, predicted)
    found: list[list[int]] = []
    home: dict[int, list[int]] = {}
    for a, i in enumerate(likely):
        near = [b for b in range(a) if together[a, b] and home[likely[b]][0] == likely[b]]
        if near:
            home[likely[near[0]]].append(i)
            home[i] = home[likely[near[0]]]
        else:
            home[i] = [i]
            found.append(home[i])
    found += [[i] for i in order if i not in home]
    return sorted(found, key=lambda group: -float(sum(probability[i] for i in group)))


@dataclass(frozen=True, slots=True)
class Access:
    """The places that have to be opened, each paid once.

    Attributes
    ----------
    minutes : of each place that isn't open yet, shape (places,).
    tests, checks : the places that each test, and each hypothesis's own check, needs open; their minutes include them.
    """

    minutes: Floats
    tests: Sequence[tuple[int, ...]]
    checks: Sequence[tuple[int, ...]]

    def without(self, minutes: float, places: tuple[int, ...]) -> float:
        """Return the minutes of a test or check without the opening of its places."""
        return max(minutes - float(self.minutes[list(places)].sum()), 0.0) if places else minutes


def rank(
    probability: Floats,
    minutes: Floats,
    predicted: Sequence[PredictedOutcomes],
    together: Sequence[Sequence[int]],
    *,
    enough: float = ENOUGH,
    access: Access | None = None,
    before: dict[int, Known] | None = None,
) -> list[Ranked]:
    """Return tests in the order of minutes to the end of the search, shortest first.

    Parameters
    ----------
    minutes : to check each hypothesis directly, shape (hypotheses,).
    together : groups of hypotheses that count as one.
    enough : probability of a group that ends the search.
    access : what has to be opened; nothing by default.
    before : what was worked out in calls with all else the same, by the identity of the outcomes.
    """
    if not predicted:
        return []
    prior = np.array([probability[list(g)].sum() for g in together])
    counted = [i for i in range(len(together)) if prior[i] > LEAST_COUNTED]
    together, prior = [together[i] for i in counted], prior[counted] / prior[counted].sum()
    access = access or Access(np.zeros(0), [()] * len(predicted), [()] * len(minutes))
    member = _membership(probability, together)
    grouped = _grouped(prior, member, together, predicted)
    acts = [
        Act(access.without(o.candidate.minutes, places) + ASKING, chance, places)
        for o, chance, places in zip(predicted, grouped, access.tests, strict=True)
    ]
    problem = Choosing(acts, _checks(minutes, together, access), panels=access.minutes, enough=enough)
    closed = np.zeros((1, len(access.minutes)), dtype=bool)
    now = float(problem.to_go(prior[None], closed)[0])
    kept = {} if before is None else before
    known = np.array([kept[id(o)][1:] if id(o) in kept else (np.nan, np.nan) for o in predicted])
    bits, new = known[:, 0], np.flatnonzero(np.isnan(known[:, 0]))
    if len(new):
        bits[new] = information_of_tests_bits(prior, [grouped[i] for i in new])
    cost = np.array([o.candidate.minutes for o in predicted])
    told = [int(i) for i in np.argsort(-bits / cost, kind="stable")[:FOLLOWERS]]
    saved = now - problem.values(prior, followers=told, known=known[:, 1])
    if problem.first_ply is not None:
        kept |= {id(o): (o, float(b), float(v)) for o, b, v in zip(predicted, bits, problem.first_ply, strict=True)}
    found = [Ranked(o, float(b), float(s)) for o, b, s in zip(predicted, bits, saved, strict=True)]
    found.sort(key=_urgency, reverse=True)
    return [r for r in found if r.bits >= FEWEST_BITS]


def _checks(minutes: Floats, together: Sequence[Sequence[int]], access: Access) -> list[Closer]:
    """Return the direct check of each group: the shortest of its members'."""
    found = []
    for row, group in zip(np.eye(len(together)), together, strict=True):
        i = min(group, key=lambda i: minutes[i])
        found.append(Closer(access.without(float(minutes[i]), access.checks[i]) + ASKING, row, access.checks[i]))
    return found


def _grouped(
    prior: Floats, member: Floats, together: Sequence[Sequence[int]], predicted: Sequence[PredictedOutcomes]
) -> list[Floats]:
    """Return the chances of each test's outcomes in groups; the unlikely ones, which little but a mistake gives, are one."""
    each = np.concatenate([o.chance for o in predicted], axis=1)
    chance = each[[group[0] for group in together]]
    several = [i for i, group in enumerate(together) if len(group) > 1]
    for i in range(0, len(several), 2):  # by twos: one row alone is added up in another order
        rows = (several[i : i + 2] * 2)[:2]
        chance[rows] = member[rows] @ each
    rare = prior @ chance < RARE
    ends = np.cumsum([o.chance.shape[1] for o in predicted])
    few = np.add.reduceat(rare, [0, *ends[:-1]], dtype=np.intp) < 2
    found = []
    for begin, end, whole in zip([0, *ends[:-1]], ends, few, strict=True):
        part, out = chance[:, begin:end], rare[begin:end]
        found.append(part if whole else np.column_stack([part[:, ~out], part[:, out].sum(axis=1)]))
    return found


def _urgency(ranked: Ranked) -> tuple[bool, float]:
    """Return the sort key of tests: the minutes saved; if none are, the loss per minute of the test.

    Among tests that check one cause each, the first in the order of cost over probability saves just what it costs and
    the others less, so that order is kept.
    """
    if ranked.saved > 0:
        return True, ranked.saved
    return False, ranked.saved / (ranked.outcomes.candidate.minutes + ASKING)


def _membership(probability: Floats, together: Sequence[Sequence[int]]) -> Floats:
    """Return the share of each hypothesis in its group, shape (groups, hypotheses)."""
    member = np.zeros((len(together), len(probability)))
    for row, group in zip(member, together, strict=True):
        weight = probability[list(group)]
        row[list(group)] = weight / weight.sum() if weight.sum() > 0 else 1 / len(group)
    return member
