"""The fault page of a job: its cases, and a new one."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from gainwright.app.cases import stored_cases
from gainwright.app.cases.answer_forms import HEARD
from gainwright.app.cases.complaint_choices import complaint_kinds, entries_of_complaint
from gainwright.app.clock import today
from gainwright.model import Speaker, device_words
from gainwright.texts import sentence
from gainwright.web import diagnoses
from gainwright.web.cases.changes import case_address
from gainwright.web.cases.complaint_form import chosen_of
from gainwright.web.form_fields import Fields
from gainwright.web.rendering import done_or_shown, page
from gainwright.web.set_up.evaluation import job_run_evidence, text_as_set
from gainwright.web.site import CurrentJob, CurrentSite

if TYPE_CHECKING:
    from gainwright.app.cases.complaint_choices import Chosen
    from gainwright.app.store import StoredJob
    from gainwright.errors import GainwrightError
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)


@router.get("/jobs/{job}/fault")
def fault(
    request: Request, site: CurrentSite, job: CurrentJob, of: Annotated[str, Query(alias="from", max_length=20)] = ""
) -> Response:
    """Show the job's cases and the form of a new one."""
    return _fault(request, site, job, readings=True, from_run=of == "run")


def _fault(
    request: Request,
    site: Site,
    job: StoredJob,
    *,
    readings: bool,
    from_run: bool = False,
    name: str = "",
    title: str = "",
    chosen: Chosen | None = None,
    error: GainwrightError | None = None,
) -> Response:
    text = text_as_set(site, job)
    read = site.models.job(text)
    diagnoses.prepare_diagnoser(site, text)
    return page(
        request,
        "fault.html",
        job=job,
        here="fault",
        cases=stored_cases.cases_of(site.store, job.id),
        called=name or stored_cases.suggested_name(site.store, job.title, on=today()),
        titled=title or job.title,
        speakers=[
            (n, sentence(device_words(read, n))) for n, stage in read.stages.items() if isinstance(stage, Speaker)
        ],
        heard=HEARD,
        wrong=complaint_kinds(read),
        chosen=chosen,
        readings=job_run_evidence(site, job),
        with_readings=readings,
        from_run=from_run,
        error=error,
    )


@router.post("/jobs/{job}/fault")
def begin(request: Request, site: CurrentSite, job: CurrentJob, given: Fields) -> Response:
    """Open a case with what the caller hears and, if chosen, the readings of the set-up run."""
    readings = bool(given.get("readings"))
    name, title = given.get("name", ""), given.get("title", "")

    def do() -> str:
        heard = [
            {"heard": key.removeprefix("heard-"), "is": word}
            for key, word in given.items()
            if key.startswith("heard-") and word
        ]
        about = replace(job, text=text_as_set(site, job))
        complained = entries_of_complaint("", chosen_of(given), site.models.job(about.text))
        entries = [*(job_run_evidence(site, job) if readings else []), *complained, *heard]
        return case_address(stored_cases.begin_case(site.store, about, name=name, title=title, entries=entries).name)

    def show(error: GainwrightError) -> Response:
        chosen = chosen_of(given)
        return _fault(
            request, site, job, readings=readings, name=name[:80], title=title[:300], chosen=chosen, error=error
        )

    return done_or_shown(do, show)
