"""Texts of what the outcomes of a test would mean, and of the outcome in a healthy chain."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.information import after_answers
from gainwright.diagnose.ranking import STEP_DB
from gainwright.diagnose.result import TestOutcome
from gainwright.model import WORD_TEXTS, WORDED
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from gainwright.diagnose.cause_names import CauseNames
    from gainwright.diagnose.causes import Cause
    from gainwright.diagnose.ranking import PredictedOutcomes

    Floats = npt.NDArray[np.float64]

SMALL = 0.03
"""Outcomes less likely than this aren't listed."""
MOST_TOLD = 4
SURE = 0.6
CLEAR = 0.8
"""Share of the probability from which a fault is said to lie before or after a node."""
_PLACES = {"right": say("a usual place"), "wrong": say("far down or far up")}
_LABELS = {
    "quiet": "nothing",
    "right": say("as it should be"),
    "good": "good",
    "none": "nothing",
}


def volts_text(value: float) -> str:
    """Return a voltage with two figures."""
    if value < 1e-3:
        return "under 1 mV"
    return f"{value * 1e3:.2g} mV" if value < 0.0995 else f"{value:.2g} V"


def describe_outcomes(
    outcomes: PredictedOutcomes,
    probability: Floats,
    member: Floats,
    groups: Sequence[list[Cause]],
    *,
    names: CauseNames,
    before: Floats | None = None,
) -> tuple[TestOutcome, ...]:
    """Return the likely outcomes of a test and what each would mean, the likeliest first.

    Parameters
    ----------
    probability : of each active hypothesis, shape (hypotheses,).
    member, groups : membership of each group, shape (hypotheses, groups), and its causes.
    before : 1 for hypotheses before the measured node, same shape; None if no node is measured.
    """
    chance, after = after_answers(probability, outcomes.chance)
    shares = after @ member
    meanings: list[tuple[float, list[int], str]] = []
    for zone in _zones(outcomes, chance, shares):
        weight = chance[zone]
        if weight.sum() < SMALL:
            continue
        meaning = _meaning(_leading(weight @ shares[zone] / weight.sum()), groups, names)
        if before is not None and "others" in meaning:
            meaning = _side(float((weight @ after[zone] / weight.sum()) @ before), meaning)
        meanings.append((float(weight.sum()), zone, meaning))
    merged: list[tuple[float, list[int], str]] = []
    for mass, zone, meaning in meanings:
        word = isinstance(outcomes.labels[zone[0]], str)
        if merged and not word and merged[-1][2] == meaning and not isinstance(outcomes.labels[merged[-1][1][0]], str):
            merged[-1] = (merged[-1][0] + mass, merged[-1][1] + zone, meaning)
        else:
            merged.append((mass, zone, meaning))
    merged.sort(key=lambda t: -t[0])
    return tuple(TestOutcome(_range(outcomes, zone, chance), meaning) for _, zone, meaning in merged[:MOST_TOLD])


def outcomes_text(outcomes: Sequence[TestOutcome]) -> str:
    """Return outcomes and their meanings as one sentence."""
    return joined([say("{outcome}: {meaning}", outcome=o.found, meaning=o.meaning) for o in outcomes], by="{a}; {b}")


def healthy_outcome(outcomes: PredictedOutcomes, hypothesis: int) -> str:
    """Return the outcome of a test in a healthy chain, which is one of the active hypotheses: the likeliest word, or the span of levels."""
    chance = outcomes.chance[hypothesis]
    levels = [k for k, label in enumerate(outcomes.labels) if not isinstance(label, str)]
    if levels and chance[levels].sum() > 0.5:
        return _range(outcomes, levels, chance)
    return _range(outcomes, [int(np.argmax(chance))], chance)


def candidate_words(outcomes: PredictedOutcomes) -> Mapping[str, str]:
    """Return the words of a test that is answered by one; empty for any other."""
    return WORD_TEXTS if outcomes.candidate.where.rpartition(".")[2] in WORDED else {}


def _side(before: float, meaning: str) -> str:
    """Return a meaning, preceded by the side of the measured node on which the fault lies if that is clear."""
    if before >= CLEAR:
        return say("the fault lies before this place: {meaning}", meaning=meaning)
    return say("good up to here, look behind it: {meaning}", meaning=meaning) if before <= 1 - CLEAR else meaning


def _zones(outcomes: PredictedOutcomes, chance: Floats, shares: Floats) -> list[list[int]]:
    """Return groups of outcomes to list together: each label alone, levels in a few spans with the same meaning."""
    labels = outcomes.labels
    words = [k for k, label in enumerate(labels) if isinstance(label, str)]
    by_word: dict[str | float, list[int]] = {}
    for k in words:
        by_word.setdefault(labels[k], []).append(k)
    likely, leads = (chance > 1e-3).tolist(), np.argmax(shares, axis=1).tolist()
    levels = [k for k, label in enumerate(labels) if likely[k] and not isinstance(label, str)]
    spans: list[list[int]] = []
    for k in sorted(levels, key=lambda k: float(labels[k])):
        if spans and leads[spans[-1][-1]] == leads[k]:
            spans[-1].append(k)
        else:
            spans.append([k])
    while len(spans) > 1 and (len(spans) > MOST_TOLD - 1 or min(chance[s].sum() for s in spans) < 2 * SMALL):
        least = min(range(len(spans)), key=lambda i: float(chance[spans[i]].sum()))
        into = least - 1 if least > 0 else 1
        spans[into] = sorted(spans[into] + spans[least], key=lambda k: float(labels[k]))
        del spans[least]
    return [*by_word.values(), *spans]


def _leading(shares: Floats) -> tuple[int, ...]:
    """Return the groups that an outcome points to: one that is probable enough, else up to three."""
    order: list[int] = np.argsort(-shares).tolist()
    if shares[order[0]] >= SURE:
        return (order[0],)
    count = int(np.searchsorted(np.cumsum(shares[order]), SURE)) + 1
    return tuple(sorted(order[:count])) if count <= 3 else (*sorted(order[:2]), -2)


def _meaning(leading: tuple[int, ...], groups: Sequence[list[Cause]], texts: CauseNames) -> str:
    names = []
    for i in leading:
        if i >= 0:
            name = texts.of(groups[i][0]).name
            names.append(say("{name} or a similar cause", name=name) if len(groups[i]) > 1 else name)
    listed = joined(names, by="{a} or {b}")
    return say("{names}, or others", names=listed) if -2 in leading else listed


def _range(outcomes: PredictedOutcomes, ks: list[int], chance: Floats) -> str:
    """Return the text of an outcome: a label, or the span that contains 90 % of a level."""
    first = outcomes.labels[ks[0]]
    if isinstance(first, str):
        words = _PLACES if outcomes.candidate.test == "read_off_gain" else _LABELS
        worded = candidate_words(outcomes)
        return say(worded.get(first) or words.get(first, first))
    there = chance[ks]
    total = there.sum()
    share = np.cumsum(there) / max(float(total), 1e-12)
    inner = [k for k, s, c in zip(ks, share, there, strict=True) if s > 0.05 and s - c / total < 0.95]
    levels = [float(label) for label in (outcomes.labels[k] for k in inner or ks) if not isinstance(label, str)]
    low, high = 10 ** ((min(levels) - STEP_DB / 2) / 20), 10 ** ((max(levels) + STEP_DB / 2) / 20)
    if max(levels) - min(levels) <= 2 * STEP_DB:
        return say("about {level}", level=volts_text(float(np.sqrt(low * high))))
    return say("{low} to {high}", low=volts_text(low), high=volts_text(high))
