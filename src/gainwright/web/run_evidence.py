"""What the set-up run of a job read, as evidence to begin a case or a paper with."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.web.learning import evidence_now, run_now

if TYPE_CHECKING:
    from gainwright.app import StoredJob
    from gainwright.web.site import Site


def of_run(site: Site, job: StoredJob) -> list[dict[str, Any]]:
    """Return the entries of evidence that a job's set-up run gives; none when nothing was read."""
    return evidence_now(site, job, run_now(site, job)) if site.store.runs.entries(job.id) else []
