"""Background work over HTTP: its progress, also as server-sent events, stopping it, the file it produced."""

from __future__ import annotations

import asyncio
import itertools
import json
import os
from typing import TYPE_CHECKING, BinaryIO

from fastapi import APIRouter, Request
from starlette.responses import Response, StreamingResponse

from gainwright.results import to_json
from gainwright.web.background import WorkProgress
from gainwright.web.errors import ERROR_RESPONSES
from gainwright.web.page_language import in_language, language_of, page_language
from gainwright.web.site import CurrentSite, of_request

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Iterator
    from concurrent.futures import Executor

    from gainwright.web.background import Work

router = APIRouter(prefix="/api/work", tags=["work"], responses=ERROR_RESPONSES)

_PIECE_BYTES = 262_144


@router.get("")
def list_work(site: CurrentSite) -> list[WorkProgress]:
    """Return all known work, newest first."""
    return [work.progress for work in site.background.list()]


@router.get("/{work}")
def get_work(site: CurrentSite, work: str) -> WorkProgress:
    """Return the progress of a piece of work."""
    return site.background.get(work).progress


@router.post("/{work}/stop", status_code=204)
def stop_work(site: CurrentSite, work: str) -> None:
    """Stop a piece of work as soon as possible."""
    site.background.stop(work)


@router.get("/{work}/events", response_class=StreamingResponse)
async def events(request: Request, work: str) -> StreamingResponse:
    """Return its progress now and after each change, as server-sent events, until it has ended."""
    # not a dependency, since one that isn't a coroutine would occupy a thread for each client
    events = _events(of_request(request).background.get(work), language_of(request))
    return StreamingResponse(events, media_type="text/event-stream")


async def _events(work: Work, language: str) -> AsyncIterator[str]:
    """Yield each change, with `shown`, its state in the language of the pages."""
    async for progress in work.changes():
        if progress is None:
            yield ": keep-alive\n\n"
            continue
        with page_language(language):
            shown = in_language(work.shown_state)
        yield f"data: {json.dumps({**to_json(progress), 'shown': shown})}\n\n"


@router.get("/{work}/file", response_class=Response)
def file(site: CurrentSite, work: str) -> Response:
    """Return the file it produced."""
    finished = site.background.get(work)
    handle = finished.file.open("rb")  # an open file can be sent completely even if it is removed meanwhile
    size = os.fstat(handle.fileno()).st_size
    headers = {**_download_headers(finished.name), "content-length": str(size)}
    return StreamingResponse(_pieces(handle), media_type=finished.media_type, headers=headers)


def _pieces(handle: BinaryIO) -> Iterator[bytes]:
    with handle:
        while piece := handle.read(_PIECE_BYTES):
            yield piece


def attachment(content: bytes, *, name: str, media_type: str) -> Response:
    """Return a file for download, under a name that is safe in a header."""
    return Response(content, media_type=media_type, headers=_download_headers(name))


async def streamed(pieces: Iterator[bytes], size: int, *, name: str, media_type: str, first_in: Executor) -> Response:
    """Return a large file for download, read as fast as the other end takes it.

    Parameters
    ----------
    first_in : reads the first piece, for which all of it may be needed: one file at a time, and no thread of other requests waits.
    """
    first = await asyncio.get_running_loop().run_in_executor(first_in, next, pieces, b"")
    headers = {**_download_headers(name), "content-length": str(size)}
    return StreamingResponse(itertools.chain([first], pieces), media_type=media_type, headers=headers)


def _download_headers(name: str) -> dict[str, str]:
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "._-") else "-" for c in name).strip("-.") or "file"
    return {"content-disposition": f'attachment; filename="{plain}"'}
