"""Practice: a chain with a hidden fault, a learner who asks for tests, and the diagnosis's own path to compare with."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.app.cases.dialogue import check_cause
from gainwright.app.practice.caller import caller_words
from gainwright.app.practice.mistakes import find_mistake
from gainwright.errors import CallError
from gainwright.model.case import NO_FAULT
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.app.ports import HiddenRig, HiddenRigs
    from gainwright.diagnose import Diagnoser
    from gainwright.diagnose.candidates import Candidate
    from gainwright.model import Entry, Job

MOST_STEPS = 15
ENOUGH = 0.9


@dataclass(frozen=True, slots=True)
class PracticeTest:
    """One test that was made: what was asked, its minutes, the result, the place."""

    ask: str
    minutes: float
    found: str
    where: str = ""


@dataclass
class Practice:
    """A learner at a simulated chain.

    Attributes
    ----------
    cause, where : what is hidden: the rig's fault, or the caller's mistake at a healthy chain.
    steps : tests that were made, without the call.
    """

    job: Job
    rig: HiddenRig
    diagnoser: Diagnoser
    cause: str
    where: str
    entries: list[Entry] = field(default_factory=list)
    steps: list[PracticeTest] = field(default_factory=list)
    call: list[str] = field(default_factory=list)

    @property
    def minutes(self) -> float:
        """Minutes that the tests took so far."""
        return sum(step.minutes for step in self.steps)

    def tests(self) -> dict[str, Candidate]:
        """Return every test that can be made now, by its name."""
        from gainwright.diagnose.candidates import Catalogue

        catalogue = Catalogue(self.job, self.diagnoser.chain, self.diagnoser.instruments, self.entries)
        return {test_name(c): c for c in catalogue.all()}

    def ask(self, text: str) -> PracticeTest:
        """Make a test.

        Raises
        ------
        CallError : there is no such test.
        """
        from gainwright.diagnose import describe_entry
        from gainwright.diagnose.wording import describe_test
        from gainwright.jobfile import read_entry

        tests = self.tests()
        wanted = step_of_test(text)
        if wanted not in tests:
            near = difflib.get_close_matches(wanted, tests, n=3)
            raise CallError(
                say("there is no test {name}", name=repr(text)),
                code="unknown_test",
                rule=say("it was made already, or it can't be made here"),
                remedy=say("did you mean: {listed}", listed="; ".join(near))
                if near
                else say("type tests for the list"),
            )
        candidate = tests[wanted]
        entry = read_entry(self.rig.answer(candidate.entry), self.job)
        self.entries.append(entry)
        self.steps.append(
            PracticeTest(
                describe_test(candidate, self.job), candidate.minutes, describe_entry(entry, self.job), candidate.where
            )
        )
        return self.steps[-1]

    def guess(self, cause: str, where: str) -> bool:
        """Whether that is the hidden fault.

        Raises
        ------
        CallError : a cause that this chain can't have.
        """
        check_cause(self.diagnoser, cause, where)
        return (cause, where) == (self.cause, self.where)

    def nearly(self, cause: str) -> bool:
        """Whether a wrong cause is half right: the chain is healthy, but not for this reason."""
        return cause in NO_FAULT and self.cause in NO_FAULT


def test_name(candidate: Candidate) -> str:
    """Return the name of a test: a verb, a place, and whatever else distinguishes it."""
    entry: Any = candidate.entry
    verb = candidate.test.split("_")[0]
    parts = [verb, candidate.where]
    if hasattr(entry, "with_") and entry.with_ and candidate.test != "feed":
        parts.append(entry.with_)
    if hasattr(entry, "heard"):
        parts += [entry.side] if entry.side != "both" else []
        parts += ["no tone"] if entry.silence else []
    return " ".join(parts).lower()


GUESS = "it is "


def step_of_test(name: str) -> str:
    """Return a test as a class result has it: its name on one line, in small letters."""
    return " ".join(name.lower().split())


def step_of_guess(cause: str, where: str) -> str:
    """Return a guess as a class result has it."""
    return f"{GUESS}{cause} {where}".strip()


COMES_AND_GOES = ("lead_loose", "amplifier_hot")
"""Faults that somebody notices who hears the same music more than once."""
OTHER_TIMES = ("another time", "a while later", "the day before", "on the way home", "this morning")
EXAMPLE = "two_way_and_sub"


def example_job() -> Job:
    """Return the job to practise on when none is named."""
    from gainwright.jobfile import example_text, read_job_text

    return read_job_text(example_text(EXAMPLE)).job


def with_gains_set(job: Job) -> Job:
    """Return a job as it is in use: gains that it doesn't give are set to 30 %."""
    from gainwright.jobfile import with_settings
    from gainwright.model import Amplifier

    amplifiers = {n: s.gain for n, s in job.stages.items() if isinstance(s, Amplifier)}
    unset = [name for name, gain in amplifiers.items() if gain.at is None and not gain.fixed]
    return with_settings(job, {f"{name}.gain": "30 %" for name in unset})


def practise(
    job: Job, *, rigs: HiddenRigs, seed: int, cause: str = "", where: str = "", diagnoser: Diagnoser | None = None
) -> Practice:
    """Return a practice on a job, begun with the caller's report of each speaker.

    Parameters
    ----------
    diagnoser : of the same job, if there is one already.

    Raises
    ------
    CallError : a fault that can't occur in this chain.
    """
    from gainwright.diagnose import Diagnoser

    diagnoser = diagnoser or Diagnoser(job)
    rig = rigs.hidden(job, seed=seed, cause=cause, where=where)
    practice = Practice(job, rig, diagnoser, rig.cause, rig.where)
    practice.entries = caller_report(practice)
    if rig.cause in NO_FAULT:
        _make_mistake(practice, cause, seed)
    practice.call = caller_words(practice.entries, job)
    return practice


def _make_mistake(practice: Practice, wanted: str, seed: int) -> None:
    """Let the caller of a healthy chain have made a mistake, or none; which one follows from the seed if it isn't given."""
    rng = np.random.default_rng([seed, 2])
    kinds = [wanted] if wanted else [NO_FAULT[int(i)] for i in rng.permutation(len(NO_FAULT))]
    for kind in kinds:
        if kind == NO_FAULT[0]:
            return
        mistake = find_mistake(kind, practice.diagnoser, practice.rig, seed=seed)
        if mistake is not None:
            practice.cause, practice.where = mistake.cause.id, mistake.cause.where
            practice.entries.append(mistake.entry)
            return


def caller_report(practice: Practice) -> list[Entry]:
    """Return the caller's report: how each speaker sounds in normal use; side by side if not all is well there.

    Of what comes and goes both are told, of a control what it does when it is turned.
    """
    from gainwright.jobfile import read_entry
    from gainwright.model import HeardSpeaker, Speaker

    def heard(speaker: str, side: str, **note: str) -> HeardSpeaker:
        mapping = {"heard": speaker, **note} if side == "both" else {"heard": speaker, "side": side}
        found = read_entry(practice.rig.answer(read_entry(mapping, practice.job, answered=False)), practice.job)
        assert isinstance(found, HeardSpeaker)  # noqa: S101  what was asked
        return found

    report: list[Entry] = []
    wiring = practice.diagnoser.chain.wiring
    if practice.cause == "control_bypassed":
        turned = read_entry({"check": f"{practice.where}.travel"}, practice.job, answered=False)
        report.append(read_entry(practice.rig.answer(turned), practice.job))
    for speaker in [name for name, stage in practice.job.stages.items() if isinstance(stage, Speaker)]:
        both = heard(speaker, "both")
        sides = [heard(speaker, side) for side in ("left", "right")] if wiring.has_sides(speaker) else []
        others = [heard(speaker, "both", note=when) for when in OTHER_TIMES if practice.cause in COMES_AND_GOES]
        other = next((o for o in others if o.is_ != both.is_ and "normal" in (o.is_, both.is_)), None)
        if other is not None:
            report += [both, other]
            continue
        differ = both.is_ != "normal" and len({side.is_ for side in sides}) > 1
        report += sides if differ else [both]
    return report


def best_path(
    job: Job,
    *,
    rigs: HiddenRigs,
    seed: int,
    cause: str,
    where: str,
    on_step: Callable[[int], None] | None = None,
) -> Practice:
    """Return the path that the diagnosis itself takes to the same fault, from the same call.

    Parameters
    ----------
    on_step : called before each step with the number made so far, of `MOST_STEPS` at most.
    """
    practice = practise(job, rigs=rigs, seed=seed, cause=cause, where=where)
    for step in range(MOST_STEPS):
        if on_step is not None:
            on_step(step)
        state = practice.diagnoser.weigh(practice.entries)
        tests = practice.diagnoser.tests(state)
        leading = max(float(sum(state.probability[state.place[i]] for i in group)) for group in tests.groups)
        if leading >= ENOUGH or not tests.ranked:
            break
        practice.ask(test_name(tests.ranked[0].outcomes.candidate))
    return practice
