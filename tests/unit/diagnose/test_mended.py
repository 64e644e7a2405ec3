"""What became of a repair, as evidence: the odds of the repaired cause follow Bayes' rule, in closed form."""

from __future__ import annotations

import pytest

from gainwright.diagnose import Diagnoser, Diagnosis, make_diagnosis
from gainwright.diagnose.candidates import Catalogue
from gainwright.diagnose.worded_answers import BADLY_MENDED, HEALS_ITSELF
from gainwright.errors import JobError
from gainwright.jobfile import example_text, read_entry, read_job_text
from gainwright.model import Job
from gainwright.simulated import Fault, Rig, answer

SILENT = {"heard": "sub", "tone": "50 Hz", "is": "silent"}
CAUSE = ("lead_open", "lead:head.sub-amp")
MENDED = {"check": "lead_open@lead:head.sub-amp.mended"}


@pytest.fixture(scope="module")
def job() -> Job:
    """Return a small chain."""
    return read_job_text(example_text("one_amplifier")).job


def diagnosed(job: Job, *entries: dict[str, str]) -> Diagnosis:
    """Return a diagnosis of some entries."""
    return make_diagnosis(Diagnoser(job), [read_entry(entry, job) for entry in entries])


def odds(found: Diagnosis) -> float:
    """Return the odds of the repaired cause against another that stays as it is."""
    of = {(c.cause, c.where): c.probability for c in found.causes}
    return of[CAUSE] / of["gain_muted", "amp"]


@pytest.mark.parametrize(
    ("word", "ratio"),
    [("still_wrong", BADLY_MENDED / (1 - HEALS_ITSELF)), ("plays", (1 - BADLY_MENDED) / HEALS_ITSELF)],
)
def test_odds_of_the_repaired_cause_follow_bayes_rule(job: Job, word: str, ratio: float) -> None:
    """Posterior odds are prior odds times the ratio of the chances of what happened."""
    before, after = diagnosed(job, SILENT), diagnosed(job, SILENT, {**MENDED, "is": word})
    assert odds(after) == pytest.approx(ratio * odds(before), rel=1e-6)


def test_repair_that_helped_confirms_the_cause_and_no_test_is_asked(job: Job) -> None:
    """The dialogue ends: the cause is declared; what is asked next can only be of other places."""
    found = diagnosed(job, SILENT, {"check": "lead:head.sub-amp", "resistance": "open"}, {**MENDED, "is": "plays"})
    assert (found.causes[0].cause, found.causes[0].where) == CAUSE
    assert found.declared
    assert found.done


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ({"check": "gain_low@nowhere.mended", "is": "plays"}, "no place nowhere"),
        ({"check": "gain_low@amp.mended", "is": "perhaps"}, "can't be"),
        ({"check": "gain_low@amp.mended", "reads": "3 V"}, "has no reads"),
    ],
)
def test_impossible_repairs_are_refused(job: Job, entry: dict[str, str], said: str) -> None:
    """A place that the job hasn't got, a word that is no answer, a number."""
    with pytest.raises(JobError, match=said):
        read_entry(entry, job)


TWO = [
    {"heard": "sub", "is": "silent"},
    {"heard": "woofer", "is": "silent"},
    {"heard": "tweeter", "is": "normal"},
    {"check": "lead:desk.sub-knob", "resistance": "open"},
]
"""Two faults at once: the sub's lead is open, and the woofers are silent for another reason."""


def test_after_one_of_two_faults_is_mended_the_other_is_searched() -> None:
    """What the mended one did is past, what it left unexplained leads on; it isn't believed again, and its tests may be made again."""
    job = read_job_text(example_text("two_way_and_sub")).job
    of = Diagnoser(job)
    mended = {"check": "lead_open@lead:desk.sub-knob.mended", "is": "partly"}
    entries = [read_entry(entry, job) for entry in (*TWO, mended)]
    state = of.weigh(entries)
    causes, probability, _ = state.of_causes()
    believed = {(c.id, c.where): float(p) for c, p in zip(causes, probability, strict=True)}
    assert believed["lead_open", "lead:desk.sub-knob"] < 0.01
    assert max(believed, key=lambda cause: believed[cause])[1] == "amp_front"
    assert state.surprise < 0.05
    assert state.evidence.past == {0, 3}
    assert state.evidence.without(0).past == {2}
    assert not of.likelihoods(state.evidence)[[0, 3]].any()

    def listed(past: frozenset[int]) -> set[tuple[str, str]]:
        return {(c.test, c.where) for c in Catalogue(job, of.chain, of.instruments, entries, past=past).all()}

    assert listed(state.evidence.past) - listed(frozenset()) == {("check_lead", "lead:desk.sub-knob")}


def test_rig_tells_that_one_of_two_faults_is_mended() -> None:
    """And that all is well after the only one, or as before after the repair of something else."""
    job = read_job_text(example_text("two_way_and_sub")).job
    faults = Fault("lead_open", "lead:desk.sub-knob"), Fault("amplifier_no_turn_on", "amp_front")

    def told(place: str, *there: Fault) -> object:
        return answer(Rig(job, seed=3, faults=there), read_entry({"check": place}, job, answered=False))["is"]

    assert told("amplifier_no_turn_on@amp_front.mended", *faults) == "partly"
    assert told("amplifier_no_turn_on@amp_front.mended", faults[1]) == "plays"
    assert told("gain_low@amp_front.mended", *faults) == "still_wrong"
