"""What a run's readings teach, worked out beside: belief over causes, and the plan with numbers that are better known."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.app.set_up.evidence import evidence_of
from gainwright.app.set_up.run import Run, run_of

if TYPE_CHECKING:
    from gainwright.app.store import StoredJob
    from gainwright.diagnose import RankedCause
    from gainwright.plan import Expect, Plan
    from gainwright.web.background import Work
    from gainwright.web.site import Site

TOLD = 4
"""Causes that are named beside a reading."""


@dataclass(frozen=True, slots=True)
class Taught:
    """What readings taught.

    Attributes
    ----------
    causes : likeliest first.
    surprise : probability of something that the model doesn't hold.
    contradiction : a sentence about readings that don't go together.
    plan : with what the numbers are known to be now.
    better_known : how many numbers are known better than the job says them.
    entries : how many readings it comes from.
    """

    causes: tuple[RankedCause, ...]
    surprise: float
    contradiction: str
    plan: Plan
    better_known: int
    entries: int

    def expect(self, step: str) -> Expect | None:
        """Return what to expect at a step now."""
        return next((s.expect for s in self.plan.steps if s.id == step), None)

    @property
    def suspicious(self) -> bool:
        """Whether something is believed to be wrong rather than nothing."""
        return bool(self.causes) and self.causes[0].cause != "nothing_wrong"


def run_now(site: Site, stored: StoredJob) -> Run:
    """Return a job's run as it stands."""
    from gainwright.jobfile import instruments

    job = site.models.job(stored.text)
    return run_of(site.models.plan(stored.text), site.store.runs.entries(stored.id), instruments(job))


def evidence_now(site: Site, stored: StoredJob, run: Run) -> list[dict[str, Any]]:
    """Return what a run's readings say, worked out once for each state of the run."""
    said = json.dumps([[s.step.id, s.state, s.entry.number if s.entry else 0] for s in run.steps])

    def made() -> list[dict[str, Any]]:
        return evidence_of(run, site.models.job(stored.text), site.models.chain(stored.text))

    return site.models.kept("run evidence", f"{stored.id}{stored.text}{said}", made)


def evidence_of_run(site: Site, stored: StoredJob) -> list[dict[str, Any]]:
    """Return what a job's run says as evidence to begin a case or a paper with; nothing, and no plan is made, before a reading."""
    return evidence_now(site, stored, run_now(site, stored)) if site.store.runs.entries(stored.id) else []


def taught(site: Site, stored: StoredJob, run: Run) -> tuple[Taught | None, Work | None]:
    """Return what the readings taught when it is at hand; else the work that finds it; neither without readings."""
    evidence = evidence_now(site, stored, run)
    if not evidence:
        return None, None
    key = f"{stored.text}\n{json.dumps(evidence)}"
    if site.models.has("taught", key):
        return site.models.kept("taught", key, lambda: _taught(site, stored.text, evidence)), None
    at_work: dict[str, tuple[str, Work]] = site.models.kept("teaching", stored.id, dict)
    known, work = at_work.get(stored.id, ("", None))
    if known == key and work is not None and work.state not in ("failed", "stopped"):
        return None, work
    if work is not None:
        # what the readings taught before the last one isn't wanted any more
        site.background.stop(work.id)

    def do(work: Work) -> None:
        work.tell(None, "weighing the readings")
        site.models.kept("taught", key, lambda: _taught(site, stored.text, evidence))

    found = site.background.start("What the readings say", do, back=f"/jobs/{stored.id}/setup")
    at_work[stored.id] = (key, found)
    return None, found


def _taught(site: Site, text: str, evidence: list[dict[str, Any]]) -> Taught:
    from gainwright.diagnose import learn_values
    from gainwright.jobfile import read_entry
    from gainwright.plan import make_plan
    from gainwright.web.diagnoses import diagnosis_of_evidence

    job = site.models.job(text)
    diagnosis = diagnosis_of_evidence(site, text, evidence)
    entries = [read_entry(e, job) for e in evidence]
    learned, told = learn_values(site.models.diagnoser(text, site.store.cases.closed_by_cause()), entries)
    plan = make_plan(job, learned=learned)
    return Taught(
        diagnosis.causes[:TOLD], diagnosis.surprise, diagnosis.contradiction, plan, len(told), len(diagnosis.evidence)
    )
