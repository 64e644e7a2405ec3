"""Work in the background over HTTP: its state, its changes as server-sent events, stopping it, the file that came of it."""

from __future__ import annotations

import json
import os
from typing import TYPE_CHECKING, BinaryIO

from fastapi import APIRouter, Request
from starlette.responses import Response, StreamingResponse

from gainwright.results import to_json
from gainwright.web.background import WorkProgress
from gainwright.web.site import CurrentSite, of_request

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Iterator

    from gainwright.web.background import Work

router = APIRouter(prefix="/api/work", tags=["work"])

_PIECE_BYTES = 262_144


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
async def events(request: Request, work: str) -> StreamingResponse:
    """Return its state now and after each change, as server-sent events, until it has ended."""
    # the site is asked for here, since a dependency that is no coroutine would take a thread for each follower
    return StreamingResponse(_events(of_request(request).background.get(work)), media_type="text/event-stream")


async def _events(work: Work) -> AsyncIterator[str]:
    async for told in work.changes():
        yield ": still here\n\n" if told is None else f"data: {json.dumps(to_json(told))}\n\n"


@router.get("/{work}/file", response_class=Response)
def file(site: CurrentSite, work: str) -> Response:
    """Return the file that came of it."""
    found = site.background.get(work)
    handle = found.file.open("rb")  # open, so that it can be sent to its end even if it is removed meanwhile
    size = os.fstat(handle.fileno()).st_size
    headers = {**_kept_as(found.name), "content-length": str(size)}
    return StreamingResponse(_pieces(handle), media_type=found.media_type, headers=headers)


def _pieces(handle: BinaryIO) -> Iterator[bytes]:
    with handle:
        while piece := handle.read(_PIECE_BYTES):
            yield piece


def attachment(content: bytes, *, name: str, media_type: str) -> Response:
    """Return a file to be kept, under a name that holds nothing a header could trip over."""
    return Response(content, media_type=media_type, headers=_kept_as(name))


def _kept_as(name: str) -> dict[str, str]:
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "._-") else "-" for c in name).strip("-.") or "file"
    return {"content-disposition": f'attachment; filename="{plain}"'}
