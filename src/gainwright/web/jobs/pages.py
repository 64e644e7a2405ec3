"""The list of jobs, and changes to whole jobs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Form, Query, Request, UploadFile
from starlette.responses import Response

from gainwright.app.jobs import job_start, stored_jobs
from gainwright.app.measuring.stored_recordings import list_recordings
from gainwright.app.set_up.progress import progress_of
from gainwright.app.store import JobState
from gainwright.errors import GainwrightError
from gainwright.jobfile import examples
from gainwright.texts import say
from gainwright.web.jobs import chain_view
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.site import CurrentJob, CurrentSite, job_or_none

if TYPE_CHECKING:
    from gainwright.app.store import StoredJob
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)

MOST_SHOWN = 100
"""Jobs that are listed; others are found by searching."""
MOST_BYTES = 1_000_000
"""Largest job file that can be imported."""


@router.get("/")
def jobs(
    request: Request,
    site: CurrentSite,
    words: Annotated[str, Query(max_length=200)] = "",
    shelf: JobState = "kept",
    put_away: str = "",
) -> Response:
    """Show the jobs in a state."""
    return _list(request, site, words=words, shelf=shelf, moved=job_or_none(site, put_away))


def _list(
    request: Request,
    site: Site,
    *,
    words: str = "",
    shelf: JobState = "kept",
    moved: object = None,
    error: GainwrightError | None = None,
) -> Response:
    jobs = site.store.jobs.list(words=words, shelf=shelf, most=MOST_SHOWN + 1)
    shown: dict[str, Any] = {
        "jobs": jobs[:MOST_SHOWN],
        "progress": {job.id: _progress(site, job) for job in jobs[:MOST_SHOWN]},
        "more": len(jobs) > MOST_SHOWN,
        "words": words,
        "shelf": shelf,
        "examples": examples(),
        "moved": moved,
        "error": error,
    }
    return page(request, "jobs.html", **shown)


def _progress(site: Site, job: StoredJob) -> str:
    """Return how far a job's set-up run has come, of all steps where its plan is at hand; empty before its first entry."""
    progress = progress_of(site.store.runs.entries(job.id))
    if progress is None:
        return ""
    if site.models.has("plan", job.text):
        return say("{done} of {all} steps done", done=progress.steps, all=len(site.models.plan(job.text).steps))
    return say("{done} steps done", done=progress.steps)


@router.post("/jobs/new")
def new(site: CurrentSite, like: Annotated[str, Form(max_length=80)]) -> Response:
    """Create a job with a copy of an example."""
    return go_to(f"/jobs/{stored_jobs.create_job(site.store, like=like).id}")


@router.post("/jobs/upload")
def upload(request: Request, site: CurrentSite, file: UploadFile) -> Response:
    """Import a job file; an error in it is shown with its place, and nothing is stored."""

    def do() -> str:
        content = file.file.read(MOST_BYTES)
        return f"/jobs/{stored_jobs.import_job(site.store, content, name=file.filename or '').id}"

    return done_or_shown(do, lambda error: _list(request, site, error=error))


@router.post("/jobs/{job}/double")
def double(site: CurrentSite, job: str) -> Response:
    """Store a copy and show it."""
    return go_to(f"/jobs/{stored_jobs.copy_job(site.store, job).id}")


@router.post("/jobs/{job}/put")
def put(
    site: CurrentSite,
    job: str,
    shelf: Annotated[JobState, Form()],
    seen: Annotated[JobState | None, Form()] = None,
) -> Response:
    """Keep, archive or delete a job that is in the state `seen`; the list then offers undo."""
    site.store.jobs.put(job, shelf, seen=seen)
    return go_to(f"/?put_away={job}" if shelf != "kept" else f"/jobs/{job}")


@router.get("/jobs/{job}")
def overview(request: Request, site: CurrentSite, job: CurrentJob) -> Response:
    """Show one job: what to do next, a summary, links to its parts; one that was only begun is continued."""
    if job_start.is_unfinished(job.text):
        return go_to(f"/jobs/{job.id}/start")
    entries = site.store.runs.entries(job.id)
    kept = [k for k in list_recordings(site.store, job.id) if not k.removed]
    try:
        drawn = chain_view.drawn(site, job.text, job.title)
    except GainwrightError:  # a file that this version can't read is corrected on the chain's page
        drawn = None
    return page(request, "job.html", job=job, here="job", entries=entries, recordings=kept, drawn=drawn)
