"""From probabilities and ranked tests to a diagnosis with texts: reasons, contradictions, and the check of the repair."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.cause_texts import describe_cause, repair_text, short_name
from gainwright.diagnose.causes import HEALTHY, NOTHING, Cause
from gainwright.diagnose.cautions import repair_cautions
from gainwright.diagnose.declaring import conclusion, standing
from gainwright.diagnose.healthy_chain import healthy_cause
from gainwright.diagnose.observations import stimulus_of
from gainwright.diagnose.once_more import once_more
from gainwright.diagnose.outcome_texts import describe_outcomes, healthy_outcome, outcomes_text, volts_text
from gainwright.diagnose.ranking import ASKING, Ranked, predict_outcomes
from gainwright.diagnose.result import CauseGroup, CausePair, Diagnosis, EvidenceItem, NextTest, RankedCause, Repair
from gainwright.diagnose.weighed import mistaken
from gainwright.diagnose.wording import describe_entry, describe_test
from gainwright.model import (
    Multimeter,
    Reading,
    as_mapping,
    checked_words,
    mended_place,
    stages_at,
    stages_of,
    the_place,
)
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.diagnose.candidates import Candidate
    from gainwright.diagnose.cause_names import CauseNames, CauseText
    from gainwright.diagnose.declaring import Standing
    from gainwright.diagnose.diagnoser import CauseProbabilities, Diagnoser, RankedTests
    from gainwright.diagnose.weighed import Evidence
    from gainwright.model import Entry, EntryMapping, Job

    Floats = npt.NDArray[np.float64]

SPEAKS = 0.5
"""An entry speaks for a cause if its log likelihood ratio to the average cause exceeds this; against, below minus twice it."""
CONTRADICTED = 0.3
"""Probability of an unknown fault, or of a wrong entry, from which it is reported."""
NOTHING_ENOUGH = 0.5
"""Where all that was told is as in a sound chain, nothing more is asked from this probability of it."""
TESTS_TOLD = 12
LEAST_TOLD = 1e-4
WORTH = 0.15
"""A test isn't worth its time if each of its minutes shortens the search by less than this."""


def make_diagnosis(
    diagnoser: Diagnoser,
    entries: Sequence[Entry],
    unreachable: frozenset[str] = frozenset(),
    declined: Sequence[Entry] = (),
) -> Diagnosis:
    """Return the diagnosis of a chain given evidence; `unreachable` and `declined` as in `Catalogue`."""
    with diagnoser.turn:
        return _diagnosis(diagnoser, diagnoser.weigh(entries), unreachable, declined)


def _diagnosis(
    diagnoser: Diagnoser, state: CauseProbabilities, unreachable: frozenset[str], declined: Sequence[Entry]
) -> Diagnosis:
    entries = state.entries
    tests = diagnoser.tests(state, unreachable, declined)
    found, probability, error = state.of_causes()
    sound = healthy_cause(state.entries, diagnoser.rough, diagnoser.causes)
    found = [_named(c, sound) for c in found]
    likelihood = diagnoser.likelihoods(state.evidence)
    causes = _causes(diagnoser, found, probability, error, likelihood)
    place = {(c.cause, c.where): i for i, c in enumerate(causes)}
    groups = _groups(state, tests, sound, place)
    doubts = mistaken(likelihood, state.probability, state.wrong)
    stands = standing(diagnoser, state, tests, likelihood, doubts)
    following = _next(state, diagnoser.names, diagnoser.job, _in_turn(state, tests, stands), tests, sound)
    shows_nothing = stands.nothing_shows and causes[0].cause in HEALTHY
    ended = shows_nothing and causes[0].probability >= NOTHING_ENOUGH
    done = bool(entries) and (stands.likely or ended or not following)
    pairs = [(float(p), h) for p, h in zip(state.probability, state.hypotheses, strict=True) if len(h) > 1 and p > 0.01]
    return Diagnosis(
        causes,
        tuple(g for g in groups if len(g.causes) > 1),
        tuple(_pair(p, h, diagnoser.job) for p, h in sorted(pairs, key=lambda pair: -pair[0])),
        following,
        len(state.entries),
        _evidence(diagnoser, state, doubts),
        state.surprise,
        _contradiction(diagnoser, state, likelihood, found, probability),
        done,
        _repair(diagnoser, state, Cause(causes[0].cause, causes[0].where)) if done else None,
        stands.declared,
        tuple(i + 1 for i in stands.unexplained),
        tuple(i + 1 for i in stands.conflicting),
        shows_nothing,
        conclusion(stands, causes[0].name) if entries else "",
    )


def _in_turn(state: CauseProbabilities, tests: RankedTests, stands: Standing) -> list[Ranked]:
    """Return the tests worth their time, best first: before a likely cause is declared, its check, an entry once more, or what tells it from the rest."""
    found = [r for r in tests.ranked[:TESTS_TOLD] if _is_worth(r)]
    first: list[Ranked] = []
    if stands.confirm is not None and (stands.likely or not found):
        known = [r for r in tests.ranked if r.outcomes.candidate.entry == stands.confirm.candidate.entry]
        first = known[:1] or [Ranked(stands.confirm, 0.0, 0.0)]
    elif stands.again and (stands.likely or not found):
        first = _once_more(stands.again, state, tests)
    if not first and stands.likely and stands.rests_on is not None:
        first = _once_more((stands.rests_on,), state, tests)
    if not first and stands.likely and stands.tell is not None:
        first = [Ranked(stands.tell, 0.0, 0.0)]
    return [*first, *(r for r in found if r not in first)][:TESTS_TOLD]


def _once_more(indices: Sequence[int], state: CauseProbabilities, tests: RankedTests) -> list[Ranked]:
    """Return entries as tests to be made again."""
    again = [once_more(state.entries[i], tests.catalogue) for i in indices]
    return [Ranked(predict_outcomes(c, state.predicting), 0.0, 0.0) for c in again if c is not None]


def _is_worth(r: Ranked) -> bool:
    spent = r.outcomes.candidate.minutes + ASKING
    return r.saved + spent >= WORTH * spent


def _pair(probability: float, causes: tuple[Cause, ...], job: Job) -> CausePair:
    return CausePair(probability, tuple(map(str, causes)), tuple(short_name(c, job) for c in causes))


NOTHING_CAUSE = Cause(NOTHING, "")


def _causes(
    diagnoser: Diagnoser, found: list[Cause], probability: Floats, error: Floats, likelihood: Floats
) -> tuple[RankedCause, ...]:
    column = {c: i for i, c in enumerate(diagnoser.causes)}
    ratio = likelihood - np.log(np.exp(likelihood) @ diagnoser.priors)[:, None]
    speaking, opposing = _numbers(ratio > SPEAKS), _numbers(ratio < -2 * SPEAKS)
    ranked = []
    total = float(probability.sum())
    for i in np.argsort(-probability, kind="stable"):
        cause = found[int(i)]
        known = column[NOTHING_CAUSE if cause.id in HEALTHY else cause]
        speaks_for, against = speaking[known], opposing[known]
        text = diagnoser.names.of(cause)
        why = _why(text, speaks_for, against if probability[i] > LEAST_TOLD else ())
        ranked.append(
            RankedCause(
                cause.id,
                cause.where,
                float(probability[i] / total),
                float(error[i] / total),
                why,
                text.name,
                text.place,
                speaks_for,
                against,
            )
        )
    return tuple(ranked)


def _numbers(told: npt.NDArray[np.bool_]) -> list[tuple[int, ...]]:
    """Return the numbers of the entries that are true of each cause, of shape (entries, causes)."""
    found: list[tuple[int, ...]] = [()] * told.shape[1]
    for cause, entry in np.argwhere(told.T).tolist():
        found[cause] = (*found[cause], entry + 1)
    return found


def _why(text: CauseText, speaks_for: tuple[int, ...], against: tuple[int, ...]) -> str:
    if not speaks_for and not against:
        return text.sentence
    fits = say("Entries that support it: {numbers}.", numbers=", ".join(map(str, speaks_for)))
    odd = say("Entries against it: {numbers}.", numbers=", ".join(map(str, against)))
    if speaks_for and against:
        return say("{says}. {fits} {odd}", says=text.says, fits=fits, odd=odd)
    return say("{says}. {fits}", says=text.says, fits=fits if speaks_for else odd)


def _groups(
    state: CauseProbabilities, tests: RankedTests, sound: Cause, place: dict[tuple[str, str], int]
) -> list[CauseGroup]:
    """Return groups with their probability among single causes, likeliest first."""
    found, hypotheses, probability = [], state.active.hypotheses, state.probability.tolist()
    for group in tests.groups:
        p = float(sum(probability[state.place[i]] for i in group))
        names = [_named(hypotheses[i][0], sound) for i in group]
        found.append(CauseGroup(p, tuple(place[c.id, c.where] for c in names)))
    return sorted(found, key=lambda g: -g.probability)


def _named(cause: Cause, sound: Cause) -> Cause:
    return sound if cause.id == NOTHING else NOTHING_CAUSE if cause == sound else cause


def _next(
    state: CauseProbabilities, names: CauseNames, job: Job, ranked: Sequence[Ranked], tests: RankedTests, sound: Cause
) -> tuple[NextTest, ...]:
    probability = state.probability[list(state.place)]
    probability = probability / max(float(probability.sum()), 1e-12)
    hypotheses = state.active.hypotheses
    member = np.zeros((len(probability), len(tests.groups)))
    for g, group in enumerate(tests.groups):
        member[list(group), g] = 1.0
    groups = [[_named(hypotheses[i][0], sound) for i in group] for group in tests.groups]
    healthy = next((i for i, h in enumerate(hypotheses) if h == (NOTHING_CAUSE,)), None)
    places = [[s for c in h for s in stages_of(job, stages_at(c.where)[-1])] for h in hypotheses]
    found = []
    for r in ranked:
        c = r.outcomes.candidate
        told = describe_outcomes(r.outcomes, probability, member, groups, names=names, before=_before(state, c, places))
        entry = as_mapping(c.entry)
        ask = describe_test(c, job)
        where = checked_words(job, c.where)
        right = "" if healthy is None else healthy_outcome(r.outcomes, healthy)
        found.append(
            NextTest(
                c.test,
                c.where,
                c.minutes,
                r.bits,
                r.saved,
                ask,
                outcomes_text(told),
                entry,
                c.cautions,
                where,
                told,
                right,
            )
        )
    return tuple(found)


def _before(state: CauseProbabilities, candidate: Candidate, places: Sequence[Sequence[str]]) -> Floats | None:
    """Return which hypotheses, by the stages at their places, lie before the measured node of a test; None for any other test."""
    if not isinstance(candidate.entry, Reading) or candidate.entry.feed is not None:
        return None
    chain = state.active.answer_model.chain
    stage = candidate.entry.at.split(".")[0]
    before = {stage, *(node.stage for node in chain.wiring.upstream(stage)), *chain.job.instruments}
    return np.array([float(before.issuperset(at)) for at in places])


def _evidence(diagnoser: Diagnoser, state: CauseProbabilities, doubts: Sequence[float]) -> tuple[EvidenceItem, ...]:
    return tuple(
        EvidenceItem(
            i + 1,
            describe_entry(entry, diagnoser.job),
            _expected(diagnoser, state.evidence, i),
            doubts[i],
        )
        for i, entry in enumerate(state.entries)
    )


def _expected(diagnoser: Diagnoser, evidence: Evidence, index: int) -> str:
    """Return the result that a healthy chain gives."""
    for o in diagnoser.all.observations(evidence, index):
        if o.volts is not None:
            low, middle, high = np.quantile(o.volts.predicted_db[0], [0.025, 0.5, 0.975])
            low_v, middle_v, high_v = (float(10 ** (x / 20)) for x in (low, middle, high))
            return say(
                "{volts} ({volts_2} to {volts_3}) if nothing is wrong",
                volts=volts_text(middle_v),
                volts_2=volts_text(low_v),
                volts_3=volts_text(high_v),
            )
        assert o.chance is not None  # noqa: S101  an observation is one or the other
        return say("so in {part} % of healthy chains", part=f"{100 * float(np.mean(o.chance[0])):.0f}")
    return ""


def _contradiction(
    diagnoser: Diagnoser, state: CauseProbabilities, likelihood: Floats, found: list[Cause], probability: Floats
) -> str:
    """Return a sentence about the entry that contradicts the others, with the most probable cause without it."""
    if len(state.entries) < 2:
        return ""
    doubts = mistaken(likelihood, state.probability, state.wrong)
    if max(doubts) < CONTRADICTED and state.surprise < CONTRADICTED:
        return ""
    left = [belief.surprise for belief in diagnoser.without_each(state.evidence)]
    # the entry without which the others agree best
    odd = int(np.argmin(np.array(left) - np.array(doubts)))
    if doubts[odd] < CONTRADICTED and left[odd] > CONTRADICTED:
        return say(
            "The evidence is inconsistent, and no single entry explains why: the fault may be one that isn't modelled here."
        )
    rest = state.entries[:odd] + state.entries[odd + 1 :]
    without, p, _ = diagnoser.weigh(rest).of_causes()
    top, best = found[int(np.argmax(probability))], int(np.argmax(p))
    name = describe_entry(state.entries[odd], diagnoser.job)
    if without[best] == top or (without[best].id == NOTHING and top.id in HEALTHY):
        return say(
            "Entry {part} ({name}) contradicts the others; without it the result is the same. Read it again.",
            part=odd + 1,
            name=name,
        )
    return say(
        "Entry {part} ({name}) contradicts the others: without it the most probable cause is {short} ({part_2} %). Read it again before you act.",
        part=odd + 1,
        name=name,
        short=short_name(without[best], diagnoser.job),
        part_2=f"{100 * p[best]:.0f}",
    )


def _repair(diagnoser: Diagnoser, state: CauseProbabilities, cause: Cause) -> Repair:
    """Return the repair, and the reading at the end of the path that proves it."""
    from gainwright.diagnose.candidates import Catalogue

    catalogue = Catalogue(diagnoser.job, diagnoser.chain, diagnoser.instruments, state.entries)
    stage = stages_of(diagnoser.job, stages_at(cause.where)[-1])[0]
    path = next((p for p in catalogue.paths if stage in (*p.speakers, *(n.stage for n in p.nodes))), catalogue.paths[0])
    name = next((n for n, i in catalogue.instruments.items() if isinstance(i, Multimeter)), "")
    job = diagnoser.job
    do = say("{says}. {repair}", says=describe_cause(cause, job), repair=repair_text(cause))
    after: EntryMapping = {"check": mended_place(cause.id, cause.where)}
    if not name:
        return Repair(
            do,
            say(
                "Then play {tone_hz} Hz and listen to {part}: it should sound normal.",
                tone_hz=f"{path.tone_hz:g}",
                part=joined([the_place(job, speaker) for speaker in path.speakers], by="{a} and {b}"),
            ),
            cautions=repair_cautions(cause),
            after=after,
        )
    entry = Reading.model_validate({"at": str(path.ends[0]), "with": name, **path.played()})
    stimulus = stimulus_of(entry)
    assert stimulus is not None  # noqa: S101  the path plays a tone
    levels = diagnoser.rough.observer.levels(stimulus, path.ends[0], name)
    low, high = (float(10 ** (x / 20)) for x in np.quantile(levels.shown_db[0], [0.025, 0.975]))
    prove = say(
        "Then play {tone_hz} Hz at {level_dbfs} dBFS: {name} at {part} shows {volts} to {volts_2} when all is well.",
        tone_hz=f"{path.tone_hz:g}",
        level_dbfs=f"{path.level_dbfs:g}",
        name=the_place(job, name),
        part=the_place(job, str(path.ends[0])),
        volts=volts_text(low),
        volts_2=volts_text(high),
    )
    return Repair(do, prove, as_mapping(entry), low, high, repair_cautions(cause), after)
