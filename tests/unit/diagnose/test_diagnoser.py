"""The diagnosis as a whole: pairs, contradictions, more draws, priors, causes of a healthy chain, texts."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from diagnosers import kept_diagnoser
from indicators import with_lamp

from gainwright.diagnose import (
    Cause,
    Diagnoser,
    Diagnosis,
    describe_cause,
    make_diagnosis,
    repair_text,
    short_name,
)
from gainwright.diagnose.candidates import Catalogue
from gainwright.diagnose.causes import NOTHING
from gainwright.diagnose.change import Change, combined
from gainwright.diagnose.changes import change_of
from gainwright.diagnose.diagnoser import FEW_EFFECTIVE
from gainwright.diagnose.ranking import predict_outcomes
from gainwright.jobfile import example_text, examples, read_entry, read_job_text, with_settings
from gainwright.model import Amplifier, Entry, HeardSpeaker, Job, the_place
from gainwright.simulated import Fault, Rig, answer, possible_faults

TONE = {"tone": "50 Hz", "level": "-8 dBFS"}


def job(name: str = "two_way_and_sub", marks: str = "") -> Job:
    """Return an example with its gains somewhere in their travel, with a lamp if it has marks."""
    text = example_text(name)
    read = read_job_text(with_lamp(text, marks) if marks else text).job
    gains = [n for n, s in read.stages.items() if isinstance(s, Amplifier) and not s.gain.fixed]
    return with_settings(read, {f"{name}.gain": "30 %" for name in gains})


def entries(said: list[dict[str, Any]], of: Job) -> list[Entry]:
    """Return entries of mappings."""
    return [read_entry(s, of) for s in said]


def asked(rig: Rig, said: list[dict[str, Any]]) -> list[Entry]:
    """Return entries that a rig answers."""
    return [read_entry(answer(rig, read_entry(s, rig.job, answered=False)), rig.job) for s in said]


@pytest.mark.parametrize("name", list(examples()))
def test_causes_are_those_of_the_rig_and_priors_are_a_distribution(name: str) -> None:
    """Every place of the rig's faults is a hypothesis, each once; priors sum to 1 and none is negative."""
    diagnoser = Diagnoser(job(name))
    mine = [(c.id, c.where) for c in diagnoser.causes]
    assert len(set(mine)) == len(mine)
    missing = set(possible_faults(job(name))) - set(mine)
    assert {cause for cause, _ in missing} <= {"wrong_tone_for_path"}
    assert diagnoser.priors.sum() == pytest.approx(1)
    assert np.all(diagnoser.priors >= 0)
    assert diagnoser.causes[0].id == NOTHING


def test_every_cause_has_a_text_and_a_repair() -> None:
    """Each id has a sentence with its place and a repair; every id is present."""
    for name in examples():
        known = job(name)
        for cause in Diagnoser(known).causes:
            assert len(describe_cause(cause, known)) > 10
            assert len(repair_text(cause)) > 10
            assert short_name(cause, known)
            assert the_place(known, cause.where).lower() in describe_cause(cause, known).lower() or not cause.where


def test_closed_cases_sharpen_the_priors() -> None:
    """Cases closed with a cause make it more probable from the beginning."""
    of = job()
    with_cases = Diagnoser(of, closed={"level_control_down": 60})
    knob = with_cases.causes.index(Cause("level_control_down", "knob"))
    assert with_cases.priors[knob] > 3 * Diagnoser(of).priors[knob]


def test_two_faults_at_once() -> None:
    """Evidence that no single cause explains is explained by a pair, and its two members lead the list."""
    of = job()
    faults = (Fault("lead_open", "lead:desk.sub-knob"), Fault("amplifier_no_supply", "amp_high"))
    rig = Rig(of, seed=2, faults=faults)
    found = make_diagnosis(
        Diagnoser(of),
        asked(
            rig,
            [
                {"heard": "sub"},
                {"heard": "woofer"},
                {"heard": "tweeter"},
                {"check": "lead:desk.sub-knob"},
                {"check": "amp_high.power_lamp"},
                {"check": "amp_high.supply_voltage"},
            ],
        ),
    )
    assert found.pairs
    assert "lead_open at lead:desk.sub-knob" in found.pairs[0].causes
    assert "amplifier_no_supply at amp_high" in found.pairs[0].causes
    assert {(c.cause, c.where) for c in found.causes[:2]} == {(f.cause, f.where) for f in faults}
    assert sum(c.probability for c in found.causes) == pytest.approx(1)


def test_contradiction_names_the_entry() -> None:
    """A lamp that is off, no supply, and volts at the output contradict each other: the entry is named."""
    of = job()
    said = [
        {"heard": "sub", **TONE, "is": "silent"},
        {"check": "amp_sub.supply_voltage", "reads": "0 V"},
        {"check": "amp_sub.power_lamp", "is": "off"},
        {"at": "amp_sub.out.mono", "with": "meter", **TONE, "reads": "4 V"},
    ]
    found = make_diagnosis(kept_diagnoser(of), entries(said, of))
    assert "contradicts the others" in found.contradiction
    assert found.evidence[3].doubt > 0.3
    whole = make_diagnosis(kept_diagnoser(of), entries(said[:3], of))
    assert whole.contradiction == ""
    assert (whole.causes[0].cause, whole.causes[0].where) == ("amplifier_no_supply", "amp_sub")


@pytest.mark.parametrize(
    ("place", "bands"),
    [
        ("desk.sub.equaliser", "peak -3 dB at 60 Hz q 1.4"),
        ("desk.sub.equaliser", "peak -3 dB at 60 Hz q 1.4; low-shelf +2 dB at 90 Hz q 0.7"),
        ("desk.sub.equaliser", "flat"),
        ("head.tone", "low-shelf +3 dB at 100 Hz q 0.7"),
        ("amp_sub.boost", "peak +3 dB at 45 Hz q 1"),
    ],
)
def test_bands_equal_to_those_of_the_job_are_right(place: str, bands: str) -> None:
    """The same bands as in the job mean the same as the word right, whatever else is known; other bands are wrong."""
    of = with_settings(job(), {place: bands})
    diagnoser = Diagnoser(of)

    def believed(said: str) -> dict[tuple[str, str], float]:
        heard = [{"heard": "sub", **TONE, "is": "silent"}, {"check": place, "is": said}]
        return {(c.cause, c.where): c.probability for c in make_diagnosis(diagnoser, entries(heard, of)).causes}

    right = believed("right")
    assert believed(bands) == right
    assert believed(bands.replace("; ", ";").replace("+", "").replace("60 Hz", "0.06 kHz")) == right
    assert believed("peak +9 dB at 30 Hz q 2") == believed("wrong")


def test_surprise_rises_for_evidence_outside_the_model() -> None:
    """A speaker that plays although its amplifier is dead is reported as something else."""
    of = job()
    said = [
        {"heard": "sub", **TONE, "is": "normal"},
        {"check": "amp_sub.power_lamp", "is": "off"},
        {"check": "amp_sub.supply_voltage", "reads": "0 V"},
        {"at": "amp_sub.out.mono", "with": "meter", **TONE, "reads": "55 V"},
    ]
    assert make_diagnosis(kept_diagnoser(of), entries(said, of)).surprise > 0.5
    assert make_diagnosis(kept_diagnoser(of), entries(said[:1], of)).surprise < 0.05


def test_what_is_in_order_elsewhere_does_not_explain_a_contradiction() -> None:
    """A fault that isn't modelled leaves the rest of the chain as it is: looks at other stages don't speak against it."""
    of = job()
    said = [
        {"heard": "sub", **TONE, "is": "normal"},
        {"check": "amp_sub.power_lamp", "is": "off"},
        {"check": "amp_sub.supply_voltage", "reads": "0 V"},
        {"at": "amp_sub.out.mono", "with": "meter", **TONE, "reads": "55 V"},
    ]
    right = [f"amp_high.{what}" for what in ("gain", "high_pass", "boost", "input_mode")] + ["desk.woofer.routing"]
    elsewhere = [{"check": place, "is": "right"} for place in right]
    elsewhere += [{"check": "amp_high.power_lamp", "is": "on"}, {"check": "amp_high.fuse", "is": "good"}]
    diagnoser = kept_diagnoser(of)
    before = diagnoser.weigh(entries(said, of)).surprise
    assert diagnoser.weigh(entries(said + elsewhere, of)).surprise == pytest.approx(before, abs=0.1)
    assert diagnoser.weigh(entries(elsewhere, of)).surprise < 0.05


def test_draws_are_added_when_few_have_weight() -> None:
    """After sharp readings the leading hypotheses are evaluated with more draws, and enough of them have weight."""
    of = job()
    rig = Rig(of, seed=4, faults=(Fault("gain_low", "amp_sub", 0.05),))
    said = [{"at": n, "with": "meter", **TONE} for n in ("desk.sub.mono", "knob.out.mono", "amp_sub.out.mono")]
    state = kept_diagnoser(of).weigh(asked(rig, said))
    assert state.active.answer_model.ensemble.draws > 64
    likely = [i for i in range(len(state.place)) if state.active.belief.probability[i] > 0.1]
    assert likely
    assert all(state.active.belief.effective[i] > FEW_EFFECTIVE / 3 for i in likely)
    assert np.all(state.error >= 0)
    assert float(state.error.max()) < 0.1


def test_stated_error_is_the_scatter_over_seeds() -> None:
    """Ten seeds: the leading probability scatters by about its stated standard error, and not by far more."""
    of = job()
    rig = Rig(of, seed=4, faults=(Fault("gain_low", "amp_sub", 0.05),))
    said = asked(rig, [{"at": n, "with": "meter", **TONE} for n in ("knob.out.mono", "amp_sub.out.mono")])
    found, errors = [], []
    for seed in range(10):
        state = Diagnoser(of, seed=100 * seed).weigh(said)
        i = state.hypotheses.index((Cause("gain_low", "amp_sub"),))
        found.append(float(state.probability[i]))
        errors.append(float(state.error[i]))
    assert np.std(found) < 3 * np.mean(errors) + 0.01
    assert np.std(found) < 0.15


def test_healthy_chain_is_named_by_why_it_seems_silent() -> None:
    """A filter that stops the tone, an indicator's threshold; otherwise nothing is wrong."""
    of = job(marks="signal: level over 0.5 V")
    stopped = entries(
        [{"at": "amp_sub.out.mono", "with": "meter", "tone": "2 kHz", "level": "0 dBFS", "reads": "0.004 V"}], of
    )
    first = make_diagnosis(kept_diagnoser(of), stopped).causes[0]
    assert (first.cause, first.where) == ("wrong_tone_for_path", "desk")
    low = entries([{"at": "head.sub.mono", "with": "lamp", "tone": "50 Hz", "level": "-40 dBFS", "shows": "none"}], of)
    first = make_diagnosis(kept_diagnoser(of), low).causes[0]
    assert (first.cause, first.where) == ("indicator_below_threshold", "lamp")
    fine = entries([{"heard": name, "is": "normal"} for name in ("sub", "woofer", "tweeter")], of)
    assert make_diagnosis(kept_diagnoser(of), fine).causes[0].cause == NOTHING


def test_changes_of_two_causes_combine() -> None:
    """Factors multiply, resistances add, a change made by one alone stays."""
    chain = Diagnoser(job()).chain
    hidden = np.full((3, 3), 0.5)
    one = change_of(Cause("source_low", "head"), chain, hidden)
    two = change_of(Cause("tone_level_wrong", "head"), chain, hidden)
    lead = change_of(Cause("lead_resistive", "lead:desk.sub-knob"), chain, hidden)
    both = combined(combined(one, two), combined(lead, lead))
    node = next(iter(one.gain))
    wire = next(iter(lead.series_ohm))
    assert both.gain[node] == pytest.approx(one.gain[node] * two.gain[node])
    assert both.series_ohm[wire] == pytest.approx(2 * lead.series_ohm[wire])
    assert both.ceiling == one.ceiling
    assert combined(Change(), one).gain.keys() == one.gain.keys()


def test_access_time_counts_once_and_the_job_may_give_it() -> None:
    """A stage that was reached costs no further access time; `access` in the job replaces the typical value."""
    of = job()
    plain = {(n.where, n.test): n.minutes for n in make_diagnosis(kept_diagnoser(of), ()).next}
    text = example_text("two_way_and_sub") + "access: {amp_sub: 30 min}\n"
    slow = read_job_text(text).job
    far = Diagnoser(slow)
    tests = far.tests(far.weigh(())).catalogue
    assert tests.access("amp_sub") == 30.0
    assert tests.access("amp_front") == 2.0
    been = far.weigh(entries([{"check": "amp_sub.power_lamp", "is": "on"}], slow))
    assert far.tests(been).catalogue.access("amp_sub") == 0.0
    assert plain


def test_tests_are_not_repeated_or_suggested_where_unreachable() -> None:
    """Tests that were made, declined or are out of reach don't come again."""
    of = job()
    diagnoser = Diagnoser(of)
    said = entries([{"heard": "sub", **TONE, "is": "silent"}], of)
    first = make_diagnosis(diagnoser, said)
    declined = [read_entry(first.next[0].entry, of, answered=False)]
    again = make_diagnosis(diagnoser, said, frozenset({"desk"}), declined)
    assert first.next[0].entry not in [n.entry for n in again.next]
    assert all(not n.where.startswith("desk.") for n in again.next if n.test in ("measure", "record", "indicate"))


def test_threads_share_a_diagnoser() -> None:
    """Several simultaneous dialogues about one chain each get the same result as alone, within the draws' error."""
    of = job("one_amplifier")
    words = ("silent", "faint", "normal", "distorted")
    said = [entries([{"heard": "sub", **TONE, "is": w}], of) for w in words]
    alone = [believed(make_diagnosis(Diagnoser(of), e)) for e in said]
    shared = Diagnoser(of)
    with ThreadPoolExecutor(4) as pool:
        together = [believed(found) for found in pool.map(lambda e: make_diagnosis(shared, e), said * 6)]
    for one, other in zip(alone * 6, together, strict=True):
        assert max(abs(one[c] - other[c]) for c in one) < 0.1
    assert max(abs(alone[0][c] - alone[2][c]) for c in alone[0]) > 0.1


def believed(found: Diagnosis) -> dict[tuple[str, str], float]:
    """Return the probability of each cause; a sound chain under one name."""
    return {(c.cause if c.where else "", c.where): c.probability for c in found.causes}


def test_same_evidence_gives_the_same_numbers_whatever_was_asked_in_between() -> None:
    """A diagnosis after others, whose ensembles are kept and used again, is that of a new diagnoser."""
    of = job("one_amplifier")
    rig = Rig(of, seed=4, faults=(Fault("gain_low", "amp", 0.05),))
    nodes = [f"{n}" for n in Diagnoser(of).chain.nodes]
    said = [{"heard": "sub", **TONE}, *({"at": n, "with": "meter", **TONE} for n in nodes)]
    told = asked(rig, said)
    alone = make_diagnosis(Diagnoser(of), told)
    shared = Diagnoser(of)
    for k in range(len(told)):
        make_diagnosis(shared, told[:k])
    assert {k: pytest.approx(v, abs=1e-9) for k, v in believed(alone).items()} == believed(make_diagnosis(shared, told))
    assert [n.entry for n in alone.next] == [n.entry for n in make_diagnosis(shared, told[::-1]).next]


def test_tests_are_predicted_from_the_causes_in_play_alone_with_the_same_numbers() -> None:
    """What is nearly ruled out isn't solved again for every further tone; the outcomes are those of an ensemble of all causes."""
    diagnoser = Diagnoser(job())
    said = [
        {"heard": "sub", **TONE, "is": "silent"},
        {"at": "desk.sub.mono", "with": "meter", **TONE, "reads": "0.2 V"},
    ]
    state = diagnoser.weigh(entries(said, diagnoser.job))
    few = state.predicting
    assert len(few.answer_model.ensemble.hypotheses) == len(few.rows) < 0.4 * len(diagnoser.causes)
    rows = diagnoser.all.rows(few.hypotheses)
    assert rows is not None
    whole = replace(few, answer_model=diagnoser.rough, rows=rows)
    catalogue = Catalogue(diagnoser.job, diagnoser.chain, diagnoser.instruments, state.entries)
    for candidate in [c for c in catalogue.all() if c.test != "swap_sides"][:40:4]:
        one, other = predict_outcomes(candidate, few), predict_outcomes(candidate, whole)
        assert one.labels == other.labels
        np.testing.assert_allclose(one.chance, other.chance, atol=1e-12)


SILENT_SUB = [
    {"heard": "sub", **TONE, "is": "silent"},
    {"heard": "woofer", "is": "normal"},
    {"heard": "tweeter", "is": "normal"},
]


@pytest.fixture(scope="module")
def shared() -> Diagnoser:
    """Return a diagnoser that several tests use."""
    return Diagnoser(job())


def test_cause_is_declared_when_its_own_check_has_confirmed_it(shared: Diagnoser) -> None:
    """Readings on both sides of a lead make it likely; it is declared when the lead itself was measured, which comes next."""
    around = [
        {"at": "desk.sub.mono", "with": "meter", **TONE, "reads": "0.25 V"},
        {"at": "knob.out.mono", "with": "meter", **TONE, "reads": "0 V"},
        {"check": "knob.level", "is": "right"},
        {"check": "lead:knob-amp_sub", "resistance": "0.2 ohm", "between_conductors": "open"},
        {"check": "lead:desk.sub-knob.moved", "is": "steady"},
    ]
    likely = make_diagnosis(shared, entries(SILENT_SUB + around, shared.job))
    assert (likely.causes[0].cause, likely.causes[0].where) == ("lead_open", "lead:desk.sub-knob")
    assert likely.causes[0].probability > 0.8
    assert not likely.declared
    assert likely.next[0].where == "lead:desk.sub-knob"
    measured = {"check": "lead:desk.sub-knob", "resistance": "open"}
    once = make_diagnosis(shared, entries([*SILENT_SUB, *around, measured], shared.job))
    assert not once.declared  # it rests on that one measurement, which is asked for once more
    assert once.next[0].where == "lead:desk.sub-knob"
    assert make_diagnosis(shared, entries([*SILENT_SUB, *around, measured, measured], shared.job)).declared


def test_nothing_is_declared_while_an_entry_stands_unexplained(shared: Diagnoser) -> None:
    """An open lead, and volts behind it: both are put to the person, neither is called wrong."""
    said = [
        *SILENT_SUB,
        {"check": "lead:desk.sub-knob", "resistance": "open"},
        {"at": "amp_sub.out.mono", "with": "meter", **TONE, "reads": "4 V"},
        {"check": "sub.resistance", "reads": "open"},
        {"check": "lead:amp_sub-sub", "resistance": "open"},
        {"check": "meter", "is": "good"},
    ]
    found = make_diagnosis(shared, entries(said, shared.job))
    assert found.unexplained == (4,)
    assert not found.declared
    assert 4 in found.conflicting
    assert len(found.conflicting) == 2
    assert "can't both be true" in found.conclusion
    asked_again = [
        said[i - 1].get("check") or said[i - 1].get("at") or said[i - 1].get("heard") for i in found.conflicting
    ]
    assert [n.where for n in found.next[:2]] == asked_again


def test_healthy_chain_ends_without_a_complaint(shared: Diagnoser) -> None:
    """All speakers as usual: no complaint is left, and that is said."""
    found = make_diagnosis(
        shared, entries([{"heard": n, "is": "normal"} for n in ("sub", "woofer", "tweeter")], shared.job)
    )
    assert found.no_complaint
    assert "No complaint is left" in found.conclusion
    assert not make_diagnosis(shared, entries(SILENT_SUB, shared.job)).no_complaint


def test_faint_is_against_how_it_usually_is(shared: Diagnoser) -> None:
    """A source 15 dB down makes every speaker faint, however loud its volts are; one that isn't down, none."""
    from gainwright.diagnose.observations import heard_parts, told_words

    low, sound = (shared.causes.index(c) for c in (Cause("source_low", "head"), Cause(NOTHING, "")))
    for speaker in ("sub", "woofer", "tweeter"):
        (entry,) = entries([{"heard": speaker, "is": "faint"}], shared.job)
        assert isinstance(entry, HeardSpeaker)
        there = heard_parts(entry, shared.rough)
        told = there.chance.mean(axis=2).T @ told_words(entry)
        faint = told[:, there.labels.index("faint")]
        assert faint[low] > 0.6
        assert faint[sound] < 0.05


def test_same_speaker_heard_again_is_no_independent_proof(shared: Diagnoser) -> None:
    """The same word of the same speaker four times speaks for a fault hardly more than once; of four speakers it would."""
    once = [{"heard": "sub", "is": "distorted"}]
    more = [*once, *({"heard": "sub", "is": "distorted", "note": str(k)} for k in range(3))]
    sound = [
        next(c.probability for c in make_diagnosis(shared, entries(said, shared.job)).causes if c.cause == NOTHING)
        for said in (once, more)
    ]
    assert sound[1] > 0.2 * sound[0]


def test_who_hears_nothing_wrong_calls_for_another_reason(shared: Diagnoser) -> None:
    """All speakers as always, and nothing else odd: every fault loses; those that are heard still do once something odd was found."""
    speakers = ("sub", "woofer", "tweeter")
    said = [{"heard": name, "is": "normal"} for name in speakers]
    belief = {c: shared.weigh(entries(said[: n + 1], shared.job)) for n, c in enumerate(speakers)}

    def odds(speaker: str, cause: Cause) -> float:
        found = belief[speaker]
        at = dict(zip(found.hypotheses, found.probability, strict=True))
        return float(at[cause,] / at[Cause(NOTHING, ""),])

    gain, turned = Cause("gain_high", "amp_sub"), Cause("leads_swapped", "desk")
    for fault in (gain, turned):
        assert odds("tweeter", fault) < 0.05 * odds("woofer", fault)
    odd = [{"check": "desk.inputs", "is": "wrong"}]
    belief |= {
        "odd": shared.weigh(entries([*said, *odd], shared.job)),
        "before": shared.weigh(entries([*said[:2], *odd], shared.job)),
    }
    heard = odds("odd", gain) / odds("before", gain)
    assert heard < 0.5
    assert odds("odd", turned) > 2 * heard * odds("before", turned)
    repaired = [*said, {"check": "lead_open@lead:amp_sub-sub.mended", "is": "still_wrong"}]
    again = shared.weigh(entries(repaired, shared.job))
    at = dict(zip(again.hypotheses, again.probability, strict=True))
    assert float(at[gain,] / at[Cause(NOTHING, ""),]) > 2 * odds("tweeter", gain)
