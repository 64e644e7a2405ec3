"""Work in the background over HTTP: its state, its changes as server-sent events, stopping it, the file that came of it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from fastapi import APIRouter
from starlette.responses import Response, StreamingResponse

from gainwright.errors import CallError
from gainwright.results import to_json
from gainwright.web.background import WorkProgress
from gainwright.web.site import CurrentSite

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.web.background import Work

router = APIRouter(prefix="/api/work", tags=["work"])


@router.get("")
def list_work(site: CurrentSite) -> list[WorkProgress]:
    """Return all work that is known, newest first."""
    return [work.progress for work in site.background.list()]


@router.get("/{work}")
def get_work(site: CurrentSite, work: str) -> WorkProgress:
    """Return how far a piece of work is."""
    return site.background.get(work).progress


@router.post("/{work}/stop", status_code=204)
def stop_work(site: CurrentSite, work: str) -> None:
    """Let a piece of work end as soon as it can."""
    site.background.stop(work)


@router.get("/{work}/events", response_class=StreamingResponse)
def events(site: CurrentSite, work: str) -> StreamingResponse:
    """Return its state now and after each change, as server-sent events, until it has ended."""
    return StreamingResponse(_events(site.background.get(work)), media_type="text/event-stream")


def _events(work: Work) -> Iterator[str]:
    for told in work.changes():
        yield ": still here\n\n" if told is None else f"data: {json.dumps(to_json(told))}\n\n"


@router.get("/{work}/file", response_class=Response)
def file(site: CurrentSite, work: str) -> Response:
    """Return the file that came of it."""
    found = site.background.get(work)
    if not found.content:
        raise CallError("no file came of this work yet", code="no_such_file", remedy="wait until it is done")
    return attachment(found.content, name=found.name, media_type=found.media_type)


def attachment(content: bytes, *, name: str, media_type: str) -> Response:
    """Return a file to be kept, under a name that holds nothing a header could trip over."""
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "._-") else "-" for c in name).strip("-.") or "file"
    return Response(content, media_type=media_type, headers={"content-disposition": f'attachment; filename="{plain}"'})
