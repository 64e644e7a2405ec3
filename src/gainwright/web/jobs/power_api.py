"""Power and heat of a job over HTTP."""

from __future__ import annotations

from fastapi import APIRouter

from gainwright.power import PowerResult
from gainwright.web.errors import ERROR_RESPONSES
from gainwright.web.jobs.power_evaluation import power_of
from gainwright.web.site import CurrentJob, CurrentSite

router = APIRouter(prefix="/api/jobs", tags=["jobs"], responses=ERROR_RESPONSES)


@router.get("/{job}/power")
def power(site: CurrentSite, job: CurrentJob) -> PowerResult:
    """Return cables, fuses, battery and speakers under the music, as `gainwright power --json` does."""
    return power_of(site, job)
