"""Fault finding without a job file: a typical chain is chosen, and its first question shown; the chain can become a job later."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import Response

from gainwright.app.cases import stored_cases
from gainwright.errors import CallError
from gainwright.jobfile.starting.described import described_chain
from gainwright.jobfile.starting.typical import CHAINS, EXTRAS
from gainwright.texts import say
from gainwright.web import diagnoses
from gainwright.web.cases.changes import case_address
from gainwright.web.form_fields import Fields
from gainwright.web.page_language import language_of, page_language, translated
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.site import CurrentCase, CurrentSite

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.errors import GainwrightError
    from gainwright.jobfile.starting.typical import TypicalChain

router = APIRouter(include_in_schema=False)


@router.get("/cases/new")
def call(request: Request) -> Response:
    """Show the typical chains."""
    return _call(request, {})


def _call(
    request: Request,
    given: Mapping[str, str],
    error: GainwrightError | None = None,
    chains: Sequence[TypicalChain] | None = None,
) -> Response:
    chains = CHAINS if chains is None else chains
    return page(request, "call.html", chains=chains, all=chains is CHAINS, extras=EXTRAS, given=given, error=error)


@router.post("/cases/new")
def begin(request: Request, site: CurrentSite, given: Fields) -> Response:
    """Begin a case about the chain that was tapped or described, and go to its first question; what fits several is asked."""
    described = described_chain(given.get("said", ""))
    if not given.get("chain") and len(described.chains) > 1:
        return _call(request, given | {f"also:{extra}": "yes" for extra in described.extras}, chains=described.chains)

    def do() -> str:
        extras = {extra.id for extra in EXTRAS if f"also:{extra.id}" in given} | set(described.extras)
        chain = given.get("chain", "") or next((chain.id for chain in described.chains), "")
        if not chain:
            raise CallError(
                say("that doesn't tell which chain it is"),
                code="no_such_chain",
                remedy=say("name its amplifiers and the radio, or tap a chain"),
            )
        with page_language(language_of(request)):
            title, complaint = given.get("title", ""), given.get("complaint", "")
            kept = stored_cases.begin_call(site.store, chain, extras, title=title, complaint=complaint, into=translated)
        diagnoses.prepare_diagnoser(site, kept.case.job)
        return case_address(kept.name)

    return done_or_shown(do, lambda error: _call(request, given, error))


@router.post("/cases/{name}/keep")
def keep(site: CurrentSite, case: CurrentCase) -> Response:
    """Keep the chain of a case as a job, and show the case, now with its job."""
    stored_cases.keep_as_job(site.store, case.name)
    return go_to(case_address(case.name))
