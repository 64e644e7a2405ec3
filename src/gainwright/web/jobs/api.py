"""Jobs over HTTP."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field
from starlette.responses import Response

from gainwright.app.jobs import stored_jobs
from gainwright.app.store import JobState
from gainwright.web.errors import ERROR_RESPONSES
from gainwright.web.form_fields import Seen
from gainwright.web.site import Actor, CurrentJob, CurrentSite
from gainwright.web.work_api import attachment

if TYPE_CHECKING:
    from gainwright.app.store import StoredJob

router = APIRouter(prefix="/api/jobs", tags=["jobs"], responses=ERROR_RESPONSES)


class JobShown(BaseModel):
    """A job in a list; a writer sends back its `revision` as `seen`."""

    id: str
    title: str
    shelf: JobState
    revision: int
    undoable: int
    redoable: int
    created: datetime
    changed: datetime


class JobWhole(JobShown):
    """A job with the text of its file."""

    text: str


class NewJob(BaseModel):
    """A new job: a copy of an example, or the text of a job file."""

    like: str = Field(default="", max_length=80)
    text: str = Field(default="", max_length=1_000_000)


class NewText(Seen):
    """A new text of a job, and the revision that the writer saw."""

    text: str = Field(max_length=1_000_000)


class NewState(BaseModel):
    """The new state of a job, and the one that the writer saw; without it, the job is moved whatever its state is."""

    shelf: JobState
    seen: JobState | None = None


def _shown(job: StoredJob) -> JobShown:
    return JobShown.model_validate(job, from_attributes=True)


def whole(job: StoredJob) -> JobWhole:
    """Return a job as the API sends it."""
    return JobWhole.model_validate(job, from_attributes=True)


@router.get("")
def list_jobs(
    site: CurrentSite,
    words: Annotated[str, Query(max_length=200)] = "",
    shelf: JobState = "kept",
    most: Annotated[int, Query(ge=1, le=10_000)] = 1000,
) -> list[JobShown]:
    """Return the jobs in a state that contain all of the words, last changed first."""
    return [_shown(job) for job in site.store.jobs.list(words=words, shelf=shelf, most=most)]


@router.post("", status_code=201)
def new_job(site: CurrentSite, new: NewJob) -> JobWhole:
    """Store a new job."""
    if new.text:
        return whole(stored_jobs.add_job(site.store, new.text))
    return whole(stored_jobs.create_job(site.store, like=new.like or "two_way_and_sub"))


@router.get("/{job}")
def get_job(job: CurrentJob) -> JobWhole:
    """Return a job."""
    return whole(job)


@router.put("/{job}/text")
def write_job(site: CurrentSite, actor: Actor, job: str, new: NewText) -> JobWhole:
    """Store a new version; 409 when somebody else changed it since `seen`."""
    return whole(stored_jobs.write_job(site.store, job, new.text, seen=new.seen, by=actor))


@router.post("/{job}/undo")
def undo(site: CurrentSite, job: str, seen: Seen) -> JobWhole:
    """Go one version back."""
    return whole(site.store.jobs.undo(job, seen=seen.seen))


@router.post("/{job}/redo")
def redo(site: CurrentSite, job: str, seen: Seen) -> JobWhole:
    """Go one version forward again."""
    return whole(site.store.jobs.redo(job, seen=seen.seen))


@router.post("/{job}/double", status_code=201)
def double(site: CurrentSite, job: str) -> JobWhole:
    """Store a copy."""
    return whole(stored_jobs.copy_job(site.store, job))


@router.put("/{job}/shelf")
def put(site: CurrentSite, job: str, new: NewState) -> JobShown:
    """Keep, archive or delete a job; a deleted one can be restored for 30 days. 409 when it isn't in the state `seen`."""
    return _shown(site.store.jobs.put(job, new.shelf, seen=new.seen))


@router.get("/{job}/file", response_class=Response)
def job_file(job: CurrentJob) -> Response:
    """Return the job file as it was written, comments and all."""
    return attachment(job.text.encode(), name=stored_jobs.job_file_name(job.title), media_type="application/yaml")
