"""What requests carry: the revision that the writer saw, and forms whose fields aren't known in advance."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from fastapi import Depends
from pydantic import BaseModel, Field
from starlette.requests import Request

from gainwright.errors import CallError
from gainwright.quantities import whole_number
from gainwright.texts import say

MOST_FIELDS = 3000
"""A corridor has two fields for each control, and a job may have 200 stages."""
MOST_SEEN = 2**31 - 1
LONGEST = 2001
"""One more than any note may have, so that a longer one is still refused where it is used."""


Revision = Annotated[int, Field(ge=0, le=MOST_SEEN)]


class Seen(BaseModel):
    """The revision that the writer saw."""

    seen: Revision


async def _texts(request: Request) -> list[tuple[str, str]]:
    data = await request.form(max_fields=MOST_FIELDS, max_files=0)
    return [(name, value) for name, value in data.multi_items() if isinstance(value, str)]


async def sent(request: Request) -> dict[str, str]:
    """Return the fields of a form; values of the same name are joined by commas."""
    values: dict[str, str] = {}
    for name, value in await _texts(request):
        values[name] = f"{values[name]},{value}" if name in values else value
    return values


async def fields(request: Request) -> dict[str, str]:
    """Return the fields of a form, each cut to LONGEST; of the same name, the last value."""
    return {name: value[:LONGEST] for name, value in await _texts(request)}


def seen_of(given: Mapping[str, str]) -> int:
    """Return the revision that a form was made from. CallError: the form has none."""
    seen = whole_number(given.get("seen", ""), most=MOST_SEEN)
    if seen is None:
        raise CallError(
            say("the form doesn't say which revision it was made from"),
            code="bad_request",
            remedy=say("reload the page"),
        )
    return seen


Sent = Annotated[dict[str, str], Depends(sent)]
Fields = Annotated[dict[str, str], Depends(fields)]
