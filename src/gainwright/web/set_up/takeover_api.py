"""Taking over over HTTP what a run set: what would change in the job, and the change."""

from __future__ import annotations

from fastapi import APIRouter
from pydantic import BaseModel, Field

from gainwright.app.set_up.found_settings import SettingChange, take_over
from gainwright.web.errors import ERROR_RESPONSES
from gainwright.web.set_up.evaluation import current_run, run_changes
from gainwright.web.site import Actor, CurrentJob, CurrentSite

router = APIRouter(prefix="/api/jobs/{job}/run/takeover", tags=["set-up run"], responses=ERROR_RESPONSES)


class Takeover(BaseModel):
    """The job's revision, and what is still to be taken over (of a preview) or was taken over."""

    revision: int
    controls: list[SettingChange]


class Basis(BaseModel):
    """The revision of the job whose preview was seen."""

    basis: int = Field(ge=0, le=2**31)


@router.get("")
def preview(site: CurrentSite, job: CurrentJob) -> Takeover:
    """Return what the run set differently from the job; nothing is changed."""
    return Takeover(revision=job.revision, controls=list(run_changes(site, job, current_run(site, job))))


@router.post("")
def take(site: CurrentSite, actor: Actor, job: CurrentJob, seen: Basis) -> Takeover:
    """Write what the run set into the job as a new version, which can be undone; 409 when the job was changed since `basis`.

    Sent again, it finds nothing left to change and answers with the revision as it is.
    """
    changes = run_changes(site, job, current_run(site, job))
    stored = take_over(site.store, job, site.models.read(job.text), changes, basis=seen.basis, by=actor)
    return Takeover(revision=stored.revision, controls=list(changes))
