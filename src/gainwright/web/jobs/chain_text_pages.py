"""The job file as text, with errors marked in their line."""

from __future__ import annotations

import difflib
import re
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from gainwright.app.jobs import chain_edits
from gainwright.app.store import ConflictError
from gainwright.errors import GainwrightError, JobError
from gainwright.web.form_fields import MOST_SEEN, Sent, seen_of
from gainwright.web.rendering import go_to, page
from gainwright.web.site import Actor, CurrentJob, CurrentSite

if TYPE_CHECKING:
    from gainwright.app.store import StoredJob

router = APIRouter(include_in_schema=False)

BEFORE = 22
"""Characters shown before an error, so that it is visible on a phone."""
_PLACE = re.compile(r"job:([0-9]+)(?::([0-9]+))?")


@router.get("/jobs/{job}/chain/text")
def text(
    request: Request,
    site: CurrentSite,
    job: CurrentJob,
    saved: Annotated[int, Query(ge=0, le=MOST_SEEN)] = 0,
) -> Response:
    """Show the text of the file, with its first error if it has one; after it was saved it says so."""
    invalid = None
    try:
        site.models.read(job.text)
    except JobError as error:
        invalid = error
    return _shown(request, job, job.text, seen=job.revision, error=invalid, saved=saved == job.revision)


def _shown(
    request: Request,
    stored: StoredJob,
    typed: str,
    *,
    seen: int,
    error: GainwrightError | None = None,
    fine: bool = False,
    saved: bool = False,
) -> Response:
    stale = isinstance(error, ConflictError)
    lines = typed.split("\n")
    place = _PLACE.match(error.where) if error else None
    line = min(int(place[1]), len(lines)) if place else 0
    column = int(place[2] or 1) if place else 0
    cut = max(0, column - BEFORE)
    shown: dict[str, Any] = {
        "text": typed,
        "lines": len(lines),
        "line": line,
        "column": column,
        "marked": lines[line - 1][cut:] if line else "",
        "cut": cut,
        "seen": stored.revision if stale else seen,
        "error": error,
        "fine": fine,
        "saved": saved,
        "stale": stale,
        "between": _between(stored.text, typed) if stale else [],
    }
    return page(request, "chain_text.html", job=stored, here="chain", **shown)


def _between(theirs: str, mine: str) -> list[tuple[str, str]]:
    """Return the differing lines of two texts with their side, and one line of context around them."""
    sides = {"-": "now", "+": "yours", " ": ""}
    compared = difflib.unified_diff(theirs.split("\n"), mine.split("\n"), n=1, lineterm="")
    return [(sides[row[0]], row[1:]) for row in list(compared)[2:] if row[0] in sides]


@router.post("/jobs/{job}/chain/text")
def write(request: Request, site: CurrentSite, actor: Actor, stored: CurrentJob, given: Sent) -> Response:
    """Check the text, and store it if `save` is sent."""
    typed = given.get("text", "").replace("\r\n", "\n")
    seen = stored.revision
    try:
        seen = seen_of(given)
        from gainwright.jobfile import read_job_text

        read_job_text(typed)
        if "save" not in given:
            return _shown(request, stored, typed, seen=seen, fine=True)
        kept = typed.replace("\n", "\r\n") if "\r\n" in stored.text else typed
        changed = chain_edits.change_job(site.store, stored.id, lambda _old: kept, seen=seen, by=actor)
    except GainwrightError as error:
        return _shown(request, site.store.jobs.get(stored.id), typed, seen=seen, error=error)
    return go_to(f"/jobs/{stored.id}/chain/text?saved={changed.revision}")
