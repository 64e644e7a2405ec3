"""Evaluation of a run's readings in the background: probable causes, and the plan with better-known numbers."""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from gainwright.app.clock import today
from gainwright.app.jobs.corridor import controls_of
from gainwright.app.set_up.evidence import evidence_of
from gainwright.app.set_up.expectations import followed
from gainwright.app.set_up.found_settings import as_set, found_settings, found_volumes, setting_changes
from gainwright.app.set_up.run import Run, run_of
from gainwright.app.set_up.step_settings import reached_targets
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.app.set_up.expectations import Followed
    from gainwright.app.set_up.found_settings import SettingChange
    from gainwright.app.set_up.run import StepState
    from gainwright.app.store import StoredJob
    from gainwright.diagnose import RankedCause
    from gainwright.model import Job
    from gainwright.plan import Expect, Plan
    from gainwright.report.clean_steps import FoundVolume
    from gainwright.solve.hearing_dose import DayHearing
    from gainwright.web.background import Work
    from gainwright.web.site import Site

NEAR = math.sqrt(10)
"""A cause that is less probable than the first by less than this can't be distinguished from it: less is no substantial evidence (Jeffreys, Theory
of Probability, 3rd edition 1961, appendix B)."""
SHOWN_CAUSES = 4
"""Causes that are named beside a reading."""
STRONG = 10.0
"""Bayes factor from which readings speak strongly for a hypothesis (Jeffreys, Theory of Probability, 1961, appendix B)."""


@dataclass(frozen=True, slots=True)
class Evaluation:
    """What the readings of a run say.

    Attributes
    ----------
    causes : likeliest first.
    healthy, healthy_before : probability that nothing is wrong, with these readings and without any.
    surprise : probability of something that isn't modelled.
    contradiction : a sentence about contradictory readings.
    plan : made with the numbers as they are known now.
    better_known : how many numbers are known better than in the job.
    entries : number of readings.
    key : names it, so that a reading is judged by the expectation that was shown.
    leading_before : probability of the first of the causes, with those that can't be distinguished from it, without any reading.
    """

    causes: tuple[RankedCause, ...]
    healthy: float
    healthy_before: float
    surprise: float
    contradiction: str
    plan: Plan
    better_known: int
    entries: int
    key: str
    leading_before: float = 0.0

    def expect(self, step: str) -> Expect | None:
        """Return what to expect at a step now."""
        return next((s.expect for s in self.plan.steps if s.id == step), None)

    @property
    def suspicious(self) -> bool:
        """Whether the readings speak for a fault, and one is more probable than none.

        The diagnosis starts from somebody's complaint, so that a fault is likely before any reading; a run has none. What counts
        here is therefore whether the readings made a healthy car less probable than it was before them, or the leading fault
        strongly more likely against it and now substantially more probable: the more faults readings exclude, the likelier a healthy
        car gets, too, and one of many faults may fit a healthy car's readings by chance. Faults that can't be distinguished from the first,
        as a short in a lead and one in its speaker, count together with it.
        """
        if not self.causes or self.causes[0].cause == "nothing_wrong":
            return False
        before = self.leading_before / max(self.healthy_before, 1e-12)
        now = sum(c.probability for c in leading(self.causes)) / max(self.healthy, 1e-12)
        return self.healthy < self.healthy_before or (before > 0 and now >= max(STRONG * before, NEAR))

    @property
    def undecided(self) -> bool:
        """Whether the readings alone don't tell the first fault from another, as in a car that is silent for one of several reasons."""
        faults = [c.probability for c in self.causes if c.cause != "nothing_wrong"]
        return len(faults) > 1 and faults[0] < NEAR * faults[1]


def leading(causes: Sequence[RankedCause]) -> tuple[RankedCause, ...]:
    """Return the first fault with those that can't be distinguished from it."""
    faults = [c for c in causes if c.cause != "nothing_wrong"]
    return tuple(c for c in faults if c.probability * NEAR > faults[0].probability)


def current_run(site: Site, stored: StoredJob) -> Run:
    """Return a job's run in its present state."""
    from gainwright.jobfile import instruments

    job = site.models.job(stored.text)
    return run_of(site.models.plan(stored.text), site.store.runs.entries(stored.id), instruments(job))


def begun_run(site: Site, stored: StoredJob) -> Run | None:
    """Return a job's run in its present state; None, without making a plan, before its first entry."""
    return current_run(site, stored) if site.store.runs.entries(stored.id) else None


def run_evidence(site: Site, stored: StoredJob, run: Run) -> list[dict[str, Any]]:
    """Return a run's readings as evidence, cached for each state of the run."""

    def made() -> list[dict[str, Any]]:
        return evidence_of(run, site.models.job(stored.text), site.models.chain(stored.text))

    return site.models.kept("run evidence", _state_of(stored, run), made)


def _state_of(stored: StoredJob, run: Run) -> str:
    state = json.dumps([[s.step.id, s.state, s.entry.number if s.entry else 0] for s in run.steps])
    return f"{stored.id}{stored.text}{state}"


def run_changes(site: Site, stored: StoredJob, run: Run) -> tuple[SettingChange, ...]:
    """Return the settings that a run found and that its job doesn't have yet, cached for each state of the run."""

    def made() -> tuple[SettingChange, ...]:
        return setting_changes(site.models.job(stored.text), found_settings(run, site.models.chain(stored.text)))

    return site.models.kept("run changes", _state_of(stored, run), made)


def follows(site: Site, stored: StoredJob, run: Run, state: StepState) -> Followed | None:
    """Return what follows for a step from what was read at its place before, cached for each state of the run; None if nothing."""
    key = f"{_state_of(stored, run)}{state.step.id}"
    return site.models.kept("followed", key, lambda: followed(run, state, site.models.chain(stored.text)))


def expected(site: Site, stored: StoredJob, run: Run, state: StepState, learned: Evaluation | None) -> Expect | None:
    """Return what a step shows as expected and judges by: what follows from its place, what was learned, or the plan's.

    Parameters
    ----------
    learned : the evaluation that the page was made with, if it had one.
    """
    plain = state.step.expect
    if plain is None or state.asked not in ("volts", "supply"):
        return plain
    found = follows(site, stored, run, state)
    if found is not None:
        return found.expect
    return (learned.expect(state.step.id) if learned is not None and state.asked == "volts" else None) or plain


def text_as_set(site: Site, stored: StoredJob) -> str:
    """Return the text of a job with the settings that its run has found; as it is before a run."""
    run = begun_run(site, stored)
    return stored.text if run is None else as_set(site.models.read(stored.text), run_changes(site, stored, run))


@dataclass(frozen=True, slots=True)
class JobAsSet:
    """A job with the settings that its run found, and amplifier -> volts it reached as a share of its target; `from_run` if the run did any of it."""

    job: Job
    reached: dict[str, float]
    from_run: bool


def job_as_set(site: Site, stored: StoredJob) -> JobAsSet:
    """Return a job as its run has set it; as it is before a run."""
    run, text = begun_run(site, stored), text_as_set(site, stored)
    reached = {} if run is None else reached_targets(run)
    return JobAsSet(site.models.job(text), reached, from_run=bool(reached) or text != stored.text)


def run_hearing(site: Site, stored: StoredJob) -> DayHearing:
    """Return the hearing dose of a run's last day with a tone that was heard, and of all jobs of that day."""
    from gainwright.app.set_up.hearing import last_day

    entries = site.store.runs.entries(stored.id)
    day = last_day(site.models.plan(stored.text), entries, today()) if entries else today()
    return hearing_of_day(site, day, stored)


def hearing_of_day(site: Site, day: str, stored: StoredJob | None = None) -> DayHearing:
    """Return the hearing dose of all jobs of a day, and of one of them. CallError: that is no date."""
    from gainwright.app.set_up.hearing import day_hearing

    return day_hearing(
        site.store,
        stored,
        day=day,
        job_of=lambda job: site.models.job(job.text),
        plan_of=lambda job: site.models.plan(job.text),
        kept=lambda known_by, make: site.models.kept("heard", known_by, make),
    )


def job_run_evidence(site: Site, stored: StoredJob) -> list[dict[str, Any]]:
    """Return a job's run as evidence for a case or a paper; empty before a reading."""
    run = begun_run(site, stored)
    return [] if run is None else run_evidence(site, stored, run)


def texts_found(site: Site, stored: StoredJob) -> dict[str, str]:
    """Return control -> the setting that a job's run has found and the job doesn't have, as the corridor's fields show it."""
    run = begun_run(site, stored)
    changes = () if run is None else run_changes(site, stored, run)
    if not changes:
        return {}
    as_set_job = site.models.job(as_set(site.models.read(stored.text), changes))
    shown = {c.name: c.job_text for c in controls_of(as_set_job, {})}
    return {c.control: shown[c.control] for c in changes if c.control in shown}


def volumes_found(site: Site, stored: StoredJob) -> tuple[FoundVolume, ...]:
    """Return the highest clean volumes that a job's run found; none before a run."""
    run = begun_run(site, stored)
    return () if run is None else found_volumes(run)


def evaluation_or_work(site: Site, stored: StoredJob, run: Run) -> tuple[Evaluation | None, Work | None]:
    """Return the evaluation if it is cached, otherwise the work that makes it; neither without readings."""
    evidence = run_evidence(site, stored, run)
    if not evidence:
        return None, None
    key = hashlib.sha256(f"{stored.text}\n{json.dumps(evidence)}".encode()).hexdigest()
    if site.models.has("evaluation", key):
        return site.models.kept("evaluation", key, lambda: _evaluate(site, stored.text, evidence, key)), None
    works: dict[str, tuple[str, Work]] = site.models.kept("evaluation work", stored.id, dict)
    known, work = works.get(stored.id, ("", None))
    if known == key and work is not None and work.state not in ("failed", "stopped"):
        return None, work
    if work is not None:
        # the evaluation without the last reading is no longer needed
        site.background.stop(work.id)

    def do(work: Work) -> None:
        work.report(None, say("evaluating the readings"))
        site.models.kept("evaluation", key, lambda: _evaluate(site, stored.text, evidence, key))

    started = site.background.start(say("What the readings say"), do, back=f"/jobs/{stored.id}/setup")
    works[stored.id] = (key, started)
    return None, started


def evaluation_shown(site: Site, basis: str) -> Evaluation | None:
    """Return the evaluation that a page was made with, by its key; None for the plan alone, or when it is no longer there."""
    return cast("Evaluation | None", site.models.get("evaluation", basis))


def _evaluate(site: Site, text: str, evidence: list[dict[str, Any]], key: str) -> Evaluation:
    from gainwright.diagnose import learn_values
    from gainwright.jobfile import read_entry
    from gainwright.plan import make_plan
    from gainwright.web.diagnoses import diagnosis_of_evidence

    job = site.models.job(text)
    diagnosis = diagnosis_of_evidence(site, text, evidence)
    entries = [read_entry(e, job) for e in evidence]
    diagnoser = site.models.diagnoser(text, site.store.cases.counted())
    learned, better_known = learn_values(diagnoser, entries)
    first = {(c.cause, c.where) for c in leading(diagnosis.causes[:SHOWN_CAUSES])}
    plan = make_plan(job, learned=learned)
    before = sum(p for c, p in zip(diagnoser.causes, diagnoser.priors, strict=True) if (c.id, c.where) in first)
    return Evaluation(
        diagnosis.causes[:SHOWN_CAUSES],
        sum(c.probability for c in diagnosis.causes if c.cause == "nothing_wrong"),
        diagnoser.prior_of("nothing_wrong"),
        diagnosis.surprise,
        diagnosis.contradiction,
        plan,
        len(better_known),
        len(diagnosis.evidence),
        key,
        float(before),
    )
