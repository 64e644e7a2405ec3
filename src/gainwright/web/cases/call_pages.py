"""A fault without a job: a typical chain is tapped, and its first question comes; it becomes a job when it is worth it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import Response

from gainwright.app.cases import stored_cases
from gainwright.jobfile.starting.typical import CHAINS, EXTRAS
from gainwright.web import diagnoses
from gainwright.web.cases.changes import case_address
from gainwright.web.form_fields import Fields
from gainwright.web.page_language import language_of, page_language, said
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.site import CurrentCase, CurrentSite

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.errors import GainwrightError

router = APIRouter(include_in_schema=False)


@router.get("/cases/new")
def call(request: Request) -> Response:
    """Show the typical chains."""
    return _call(request, {})


def _call(request: Request, given: Mapping[str, str], error: GainwrightError | None = None) -> Response:
    return page(request, "call.html", chains=CHAINS, extras=EXTRAS, given=given, error=error)


@router.post("/cases/new")
def begin(request: Request, site: CurrentSite, given: Fields) -> Response:
    """Begin a case about the chain that was tapped, and go to its first question."""

    def do() -> str:
        extras = [extra.id for extra in EXTRAS if f"also:{extra.id}" in given]
        with page_language(language_of(request)):
            kept = stored_cases.begin_call(
                site.store, given.get("chain", ""), extras, title=given.get("title", ""), into=said
            )
        diagnoses.prepare_diagnoser(site, kept.case.job)
        return case_address(kept.name)

    return done_or_shown(do, lambda error: _call(request, given, error))


@router.post("/cases/{name}/keep")
def keep(site: CurrentSite, case: CurrentCase) -> Response:
    """Keep the chain of a case as a job, and show the case, now with its job."""
    stored_cases.keep_as_job(site.store, case.name)
    return go_to(case_address(case.name))
