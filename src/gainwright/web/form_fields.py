"""What forms sent whose fields aren't known beforehand."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from fastapi import Depends
from starlette.requests import Request

from gainwright.errors import CallError
from gainwright.quantities import whole_number

MOST_FIELDS = 3000
"""A corridor has two fields for each control, and a job may have 200 stages."""
MOST_SEEN = 2**31 - 1
LONGEST = 2001
"""One more than any note or text may have: what is longer is still refused by who takes it."""


async def _texts(request: Request) -> list[tuple[str, str]]:
    data = await request.form(max_fields=MOST_FIELDS, max_files=0)
    return [(name, value) for name, value in data.multi_items() if isinstance(value, str)]


async def sent(request: Request) -> dict[str, str]:
    """Return what a form sent; of a name that came several times, all in one text by commas."""
    found: dict[str, str] = {}
    for name, value in await _texts(request):
        found[name] = f"{found[name]},{value}" if name in found else value
    return found


async def fields(request: Request) -> dict[str, str]:
    """Return what a form sent, no more than a note of each; of a name that came several times, the last."""
    return {name: value[:LONGEST] for name, value in await _texts(request)}


def seen_of(given: Mapping[str, str]) -> int:
    """Return the revision that a form was made from. CallError: it says none."""
    seen = whole_number(given.get("seen", ""), most=MOST_SEEN)
    if seen is None:
        raise CallError("the form doesn't say what it was made from", code="bad_request", remedy="open the page again")
    return seen


Sent = Annotated[dict[str, str], Depends(sent)]
Fields = Annotated[dict[str, str], Depends(fields)]
