"""What the set-up run of a job read, as evidence to begin a case with."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from gainwright.app.store import StoredJob
    from gainwright.web.site import Site


def of_run(site: Site, job: StoredJob) -> list[dict[str, Any]]:
    """Return the entries of evidence that a job's set-up run gives; none when nothing was read."""
    entries = site.store.runs.entries(job.id)
    if not entries:
        return []
    from gainwright.app.set_up_evidence import evidence_of
    from gainwright.app.set_up_run import run_of
    from gainwright.jobfile import instruments

    read = site.models.job(job.text)
    run = run_of(site.models.plan(job.text), entries, instruments(read))
    return evidence_of(run, read, site.models.chain(job.text))
