"""Limits of request bodies: largest size, lowest speed."""

from __future__ import annotations

import asyncio
import re
import time
from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException

if TYPE_CHECKING:
    from starlette.types import Message, Receive, Scope

MOST_BYTES = 2_000_000
"""Largest body of a request, except uploads of recordings."""
MOST_UPLOAD_BYTES = 100_000_000
"""The longest recording that is accepted, as numbers of 64 bits, has 96 MB."""
MOST_UNPAIRED_BYTES = 10_000
"""Largest body from a device that isn't paired: a name and a code."""
MOST_PHOTO_BYTES = 12_500_000
"""A photo of a step with the rest of its form."""
PHOTOS = re.compile(r"/jobs/[^/]+/setup/[^/]+/notes|/api/jobs/[^/]+/notes")
UPLOADS = re.compile(r"(/api)?/(jobs/[^/]+/recordings|(.+/)?upload)")
SMALL_UPLOADS = ("/jobs/upload",)
"""Job files are small."""
FIRST_S = 20.0
"""How long a body may take in any case, and how long it may pause."""
SLOWEST_BYTES_S = 20_000.0
"""Lowest average speed of a body that takes longer, in bytes per second."""


class TooLarge(HTTPException):
    """A body is larger than its limit."""

    def __init__(self, most: int) -> None:
        super().__init__(413, f"the upload is larger than {size_in_words(most)}; send less")


class TooSlow(HTTPException):
    """A body is sent too slowly."""

    def __init__(self) -> None:
        super().__init__(408, "the upload was too slow and was stopped; send it again")


def most_bytes(scope: Scope) -> int:
    """Return the largest body of a request, in bytes."""
    path = scope["path"]
    if PHOTOS.fullmatch(path):
        return MOST_PHOTO_BYTES
    return MOST_UPLOAD_BYTES if UPLOADS.fullmatch(path) and path not in SMALL_UPLOADS else MOST_BYTES


def size_in_words(size: int) -> str:
    """Return a size as people read it."""
    return f"{size // 1_000_000} MB" if size >= 1_000_000 else f"{size // 1_000} kB"


def limited(receive: Receive, *, most: int) -> Receive:
    """Return a `receive` that raises TooLarge or TooSlow when a body exceeds its limits."""
    taken = 0
    complete = False
    begun: float | None = None

    async def counted() -> Message:
        nonlocal taken, complete, begun
        if complete:  # the next message is the end of the connection, whenever that is
            return await receive()
        if begun is None:
            begun = time.monotonic()
        left_s = begun + FIRST_S + taken / SLOWEST_BYTES_S - time.monotonic()
        try:
            message = await asyncio.wait_for(receive(), max(0.0, min(FIRST_S, left_s)))
        except TimeoutError:
            raise TooSlow from None
        taken += len(message.get("body", b""))
        if taken > most:
            raise TooLarge(most)
        complete = not message.get("more_body", False)
        return message

    return counted
