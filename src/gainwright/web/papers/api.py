"""Papers over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field
from starlette.responses import Response

from gainwright.app.papers.job_papers import MEDIA_TYPES, PaperRequest
from gainwright.web.background import WorkProgress
from gainwright.web.errors import ERROR_RESPONSES
from gainwright.web.papers import files as paper_files
from gainwright.web.site import CurrentSite
from gainwright.web.work_api import attachment

router = APIRouter(prefix="/api/jobs/{job}/papers", tags=["papers"], responses=ERROR_RESPONSES)

Word = Annotated[str, Query(max_length=80)]


class Order(BaseModel):
    """A paper to make in the background."""

    kind: str = Field(default="setup", max_length=20)
    form: str = Field(default="pdf", max_length=8)
    language: str = Field(default="en", max_length=8)
    size: str = Field(default="a4", max_length=8)
    date: str = Field(default="", max_length=10)
    case: str = Field(default="", max_length=80)
    recordings: list[str] | None = Field(default=None, max_length=100)
    short: bool = False
    photos: bool = False


@router.post("", status_code=202)
def order(site: CurrentSite, job: str, order: Order) -> WorkProgress:
    """Start making a paper; the answer is work to follow at /api/work."""
    recordings = None if order.recordings is None else tuple(order.recordings)
    wanted = PaperRequest(
        order.kind, order.language, order.size, order.date, order.case, recordings, order.short, order.photos
    )
    return paper_files.start(site, job, wanted, f".{order.form}").progress


@router.get("/{kind}.{form}", response_class=Response)
def paper(
    site: CurrentSite,
    job: str,
    kind: str,
    form: str,
    language: Word = "en",
    size: Word = "a4",
    date: Word = "",
    case: Word = "",
    short: bool = False,
    photos: bool = False,
) -> Response:
    """Return a paper as .pdf, .html, .csv or .json."""
    asked = PaperRequest(kind, language, size, date, case, short=short, photos=photos)
    content, name = paper_files.made(site, job, asked, f".{form}")
    return attachment(content, name=name, media_type=MEDIA_TYPES[f".{form}"])
