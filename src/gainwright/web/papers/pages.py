"""The papers of a job: choose, view, print, download."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Query, Request
from starlette.responses import HTMLResponse, Response

from gainwright.app.cases.stored_cases import cases_of
from gainwright.app.clock import today
from gainwright.app.papers.job_papers import PaperRequest
from gainwright.app.store import StoredJob
from gainwright.errors import GainwrightError
from gainwright.web.content_policy import frame_policy
from gainwright.web.page_language import language_of
from gainwright.web.papers import files as paper_files
from gainwright.web.papers.files import KINDS
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.site import CurrentJob, CurrentSite

router = APIRouter(include_in_schema=False)

SIZES = {"a4": "A4", "letter": "Letter"}
Word = Annotated[str, Query(max_length=80)]


def wanted_of(
    request: Request,
    kind: Word = "setup",
    language: Word = "",
    size: Word = "a4",
    date: Word = "",
    case: Word = "",
    short: bool = False,
    photos: bool = False,
) -> PaperRequest:
    """Return the paper that a query asks for, in the language of the pages unless another one is chosen."""
    return PaperRequest(kind, language or language_of(request), size, date, case, short=short, photos=photos)


Asked = Annotated[PaperRequest, Depends(wanted_of)]


@router.get("/jobs/{job}/papers")
def papers(request: Request, site: CurrentSite, job: CurrentJob, wanted: Asked, shown: bool = False) -> Response:
    """Show the choice of papers, the chosen one, and those being made."""
    return _papers(request, site, job, wanted, shown=shown)


def _papers(
    request: Request,
    site: CurrentSite,
    job: StoredJob,
    wanted: PaperRequest,
    *,
    shown: bool,
    error: GainwrightError | None = None,
) -> Response:
    from gainwright.report.languages import languages

    if error is None:
        try:
            wanted.checked()
        except GainwrightError as invalid:
            error, wanted = invalid, replace(PaperRequest(), date="")
    return page(
        request,
        "papers.html",
        job=job,
        here="papers",
        kinds=KINDS,
        sizes=SIZES,
        languages=languages(),
        wanted=wanted,
        today=today(),
        cases=cases_of(site.store, job.id),
        shown=shown and error is None,
        works=[work for work in site.background.list() if work.back == f"/jobs/{job.id}/papers"],
        error=error,
    )


@router.post("/jobs/{job}/papers")
def make(
    request: Request,
    site: CurrentSite,
    job: CurrentJob,
    form: Annotated[str, Form(max_length=8)],
    kind: Annotated[str, Form(max_length=20)],
    language: Annotated[str, Form(max_length=8)] = "en",
    size: Annotated[str, Form(max_length=8)] = "a4",
    date: Annotated[str, Form(max_length=10)] = "",
    case: Annotated[str, Form(max_length=80)] = "",
    short: Annotated[bool, Form()] = False,
    photos: Annotated[bool, Form()] = False,
) -> Response:
    """Start making a paper as a file."""

    def do() -> str:
        asked = PaperRequest(kind, language, size, date, case, short=short, photos=photos)
        paper_files.start(site, job.id, asked, f".{form}")
        also = ("&short=true" if short else "") + ("&photos=true" if photos else "")
        return f"/jobs/{job.id}/papers?kind={kind}&language={language}&size={size}&date={date}{also}"

    return done_or_shown(do, lambda error: _papers(request, site, job, PaperRequest(), shown=False, error=error))


@router.get("/jobs/{job}/papers/view")
def view(site: CurrentSite, job: str, wanted: Asked) -> Response:
    """Return a paper for the frame of the page, which can be printed."""
    content, _ = paper_files.made(site, job, wanted, ".html")
    return HTMLResponse(content, headers={"content-security-policy": frame_policy()})


@router.post("/jobs/{job}/papers/stop")
def stop(site: CurrentSite, job: str, work: Annotated[str, Form(max_length=40)]) -> Response:
    """Stop making a paper."""
    site.background.stop(work)
    return go_to(f"/jobs/{job}/papers")
