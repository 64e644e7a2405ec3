"""The fault page of a job: its cases, and a new one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from gainwright.app.cases import stored_cases
from gainwright.app.cases.answer_forms import HEARD
from gainwright.app.clock import today
from gainwright.errors import GainwrightError
from gainwright.model import Speaker
from gainwright.web import diagnoses
from gainwright.web.cases.changes import case_address
from gainwright.web.form_fields import Fields
from gainwright.web.rendering import go_to, page
from gainwright.web.set_up.evaluation import job_run_evidence
from gainwright.web.site import CurrentSite

if TYPE_CHECKING:
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)


@router.get("/jobs/{job}/fault")
def fault(
    request: Request, site: CurrentSite, job: str, of: Annotated[str, Query(alias="from", max_length=20)] = ""
) -> Response:
    """Show the job's cases and the form of a new one."""
    return _fault(request, site, job, readings=of == "run")


def _fault(
    request: Request,
    site: Site,
    job: str,
    *,
    readings: bool,
    name: str = "",
    title: str = "",
    error: GainwrightError | None = None,
) -> Response:
    stored = site.store.jobs.get(job)
    read = site.models.job(stored.text)
    diagnoses.prepare_diagnoser(site, stored.text)
    return page(
        request,
        "fault.html",
        job=stored,
        here="fault",
        cases=stored_cases.cases_of(site.store, job),
        called=name or stored_cases.suggested_name(site.store, stored.title, on=today()),
        titled=title or stored.title,
        speakers=[n for n, stage in read.stages.items() if isinstance(stage, Speaker)],
        heard=HEARD,
        readings=job_run_evidence(site, stored),
        with_readings=readings,
        error=error,
    )


@router.post("/jobs/{job}/fault")
def begin(request: Request, site: CurrentSite, job: str, said: Fields) -> Response:
    """Open a case with what the caller hears and, if chosen, the readings of the set-up run."""
    stored = site.store.jobs.get(job)
    readings = bool(said.get("readings"))
    try:
        heard = [
            {"heard": key.removeprefix("heard-"), "is": word}
            for key, word in said.items()
            if key.startswith("heard-") and word
        ]
        read = job_run_evidence(site, stored) if readings else []
        name, title = said.get("name", ""), said.get("title", "")
        kept = stored_cases.begin_case(site.store, stored, name=name, title=title, entries=[*read, *heard])
    except GainwrightError as error:
        name, title = said.get("name", "")[:80], said.get("title", "")[:300]
        return _fault(request, site, job, readings=readings, name=name, title=title, error=error)
    return go_to(case_address(kept.name))
