"""The list of jobs, and what is done with whole jobs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Query, Request, UploadFile
from starlette.responses import Response

from gainwright.app.jobs import stored_jobs
from gainwright.app.measuring.stored_recordings import list_recordings
from gainwright.app.store import Shelf
from gainwright.errors import GainwrightError
from gainwright.jobfile import examples
from gainwright.web.errors import status_of
from gainwright.web.jobs import chain_view
from gainwright.web.rendering import go_to, page
from gainwright.web.site import CurrentSite

if TYPE_CHECKING:
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)

MOST_SHOWN = 100
"""Jobs that are listed; the others are found by a word."""
MOST_BYTES = 1_000_000
"""Largest job file that is taken in."""


@router.get("/")
def jobs(
    request: Request,
    site: CurrentSite,
    words: Annotated[str, Query(max_length=200)] = "",
    shelf: Shelf = "kept",
    put_away: str = "",
) -> Response:
    """Show the jobs of a shelf."""
    gone = _job_or_none(site, put_away)
    return _list(request, site, words=words, shelf=shelf, gone=gone)


def _job_or_none(site: Site, job: str) -> object:
    try:
        return site.store.jobs.get(job) if job else None
    except GainwrightError:
        return None


def _list(
    request: Request,
    site: Site,
    *,
    words: str = "",
    shelf: Shelf = "kept",
    gone: object = None,
    error: GainwrightError | None = None,
) -> Response:
    found = site.store.jobs.list(words=words, shelf=shelf, most=MOST_SHOWN + 1)
    status = 200 if error is None else status_of(error)
    shown = {
        "jobs": found[:MOST_SHOWN],
        "more": len(found) > MOST_SHOWN,
        "words": words,
        "shelf": shelf,
        "examples": examples(),
        "gone": gone,
        "error": error,
    }
    return page(request, "jobs.html", status=status, **shown)


@router.post("/jobs/new")
def new(site: CurrentSite, like: Annotated[str, Form(max_length=80)]) -> Response:
    """Begin a job like an example."""
    return go_to(f"/jobs/{stored_jobs.create_job(site.store, like=like).id}")


@router.post("/jobs/upload")
def upload(request: Request, site: CurrentSite, file: UploadFile) -> Response:
    """Take in a job file; a mistake in it is told with its place, and nothing is kept."""
    try:
        job = stored_jobs.import_job(site.store, file.file.read(MOST_BYTES), name=file.filename or "")
    except GainwrightError as error:
        return _list(request, site, error=error)
    return go_to(f"/jobs/{job.id}")


@router.post("/jobs/{job}/double")
def double(site: CurrentSite, job: str) -> Response:
    """Keep a copy and go there."""
    return go_to(f"/jobs/{stored_jobs.copy_job(site.store, job).id}")


@router.post("/jobs/{job}/put")
def put(site: CurrentSite, job: str, shelf: Annotated[Shelf, Form()]) -> Response:
    """Keep, archive or delete a job; the list then offers to undo it."""
    site.store.jobs.put(job, shelf)
    return go_to(f"/?put_away={job}" if shelf != "kept" else f"/jobs/{job}")


@router.get("/jobs/{job}")
def overview(request: Request, site: CurrentSite, job: str) -> Response:
    """Show one job: what is to be done, what it says of itself, where its parts are."""
    stored = site.store.jobs.get(job)
    entries = site.store.runs.entries(job)
    kept = [k for k in list_recordings(site.store, job) if not k.removed]
    try:
        drawn = chain_view.drawn(site, stored.text, stored.title)
    except GainwrightError:  # a file of an older version, that can't be read any more, is mended on the chain's page
        drawn = None
    return page(request, "job.html", job=stored, here="job", entries=entries, recordings=kept, drawn=drawn)
