"""Pages of cases: search, tally, and the dialogue of one."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import Response

from gainwright.app.cases.answer_forms import entry_from_form
from gainwright.app.store import ConflictError
from gainwright.errors import CallError, GainwrightError
from gainwright.web import diagnoses
from gainwright.web.cases import changes, pictures
from gainwright.web.cases.case_page import Submitted, case_page
from gainwright.web.cases.changes import case_address
from gainwright.web.form_fields import Fields, seen_of
from gainwright.web.rendering import go_to, page
from gainwright.web.site import CurrentSite

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.app.store import StoredCase
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)
MOST_LISTED = 200
Words = Annotated[str, Query(max_length=200)]
Show = Literal["all", "open", "closed"]


@router.get("/cases")
def cases(request: Request, site: CurrentSite, words: Words = "", show: Show = "all") -> Response:
    """Show the cases that contain all of the words."""
    found = site.store.cases.find(words)
    if show != "all":
        found = [kept for kept in found if (kept.case.closed is None) == (show == "open")]
    # a case is parsed on first use: only those that are listed are
    listed = found[:MOST_LISTED]
    return page(request, "cases.html", cases=listed, more=len(found) - MOST_LISTED, words=words, show=show)


@router.get("/cases/tally")
def tally(request: Request, site: CurrentSite) -> Response:
    """Show the counts of the shop's closed cases."""
    return page(request, "tally.html", counts=diagnoses.tally(site))


@router.get("/cases/tally.svg")
def tally_chart(site: CurrentSite) -> Response:
    """Draw the closed cases by cause."""
    return pictures.tally(site)


@router.get("/cases/{name}")
def case(request: Request, site: CurrentSite, name: str, test: Annotated[int, Query(ge=1, le=50)] = 1) -> Response:
    """Show a case: the next test, the causes, the chain, the evidence."""
    return case_page(request, site, name, said=Submitted(test=test))


@router.get("/cases/{name}/belief.svg")
def belief(site: CurrentSite, name: str) -> Response:
    """Draw the probabilities after each entry."""
    return pictures.belief(site, name)


@router.get("/cases/{name}/customer.{form}")
def customer(site: CurrentSite, name: str, form: Literal["html", "pdf"]) -> Response:
    """Return the customer's page: HTML to be viewed, or PDF for download."""
    return pictures.customer(site, name, f".{form}")


def _done(request: Request, site: Site, name: str, said: Submitted, do: Callable[[], StoredCase]) -> Response:
    """Change a case and show it; an error or a conflict is shown beside what was typed."""
    try:
        do()
    except ConflictError as error:
        return case_page(request, site, name, said=said, error=error, conflict=True)
    except GainwrightError as error:
        if error.code in ("no_such_case", "bad_name"):
            raise
        return case_page(request, site, name, said=said, error=error)
    return go_to(case_address(name))


Seen = Annotated[int, Form(ge=0, le=2**31)]
Short = Annotated[str, Form(max_length=200)]


def _mapping(text: str) -> dict[str, Any]:
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise CallError("the answered test can't be read", code="bad_entry", remedy="answer it again")
    return found


@router.post("/cases/{name}/answer")
def answer(
    request: Request,
    site: CurrentSite,
    name: str,
    seen: Seen,
    entry: Annotated[str, Form(max_length=4000)],
    text: Short = "",
    second: Short = "",
    choice: Short = "",
    do: Annotated[Literal["", "dont_know", "cant_reach"], Form()] = "",
) -> Response:
    """Add the answer to a test, or skip it."""

    def done() -> StoredCase:
        asked = _mapping(entry)
        if do == "dont_know":
            return changes.dont_know(site, name, seen=seen, entry=asked)
        if do == "cant_reach":
            return changes.cant_reach(site, name, seen=seen, entry=asked)
        return changes.answer(site, name, seen=seen, entry=asked, text=choice or text, second="" if choice else second)

    said = Submitted(entry=entry, text=choice or text, second="" if choice else second, do=do)
    return _done(request, site, name, said, done)


@router.post("/cases/{name}/add")
def add(request: Request, site: CurrentSite, name: str, said: Fields) -> Response:
    """Add an observation that no test asked for."""
    kept = Submitted(own=said)

    def do() -> StoredCase:
        seen, job = seen_of(said), site.models.job(site.store.cases.get(name).case.job)
        return changes.add(site, name, seen=seen, entry=entry_from_form(said, job))

    return _done(request, site, name, kept, do)


@router.post("/cases/{name}/undo")
def undo(request: Request, site: CurrentSite, name: str, seen: Seen) -> Response:
    """Undo the last step."""
    return _done(request, site, name, Submitted(), lambda: changes.undo(site, name, seen=seen))


@router.post("/cases/{name}/correct")
def correct(
    request: Request,
    site: CurrentSite,
    name: str,
    seen: Seen,
    number: Annotated[int, Form(ge=1, le=1000)],
    text: Short = "",
    second: Short = "",
    choice: Short = "",
) -> Response:
    """Change the result of an entry."""
    said = Submitted(number=number, text=choice or text, second="" if choice else second)
    do = lambda: changes.correct(site, name, seen=seen, number=number, text=said.text, second=said.second)  # noqa: E731
    return _done(request, site, name, said, do)


@router.post("/cases/{name}/renew")
def renew(request: Request, site: CurrentSite, name: str, seen: Seen) -> Response:
    """Use the present version of the job."""
    return _done(request, site, name, Submitted(), lambda: changes.renew(site, name, seen=seen))


@router.post("/cases/{name}/close")
def close(
    request: Request,
    site: CurrentSite,
    name: str,
    seen: Seen,
    was: Short,
    note: Annotated[str, Form(max_length=2000)] = "",
) -> Response:
    """Close a case with its cause."""
    cause, _, where = was.partition("|")
    do = lambda: changes.close(site, name, seen=seen, cause=cause, where=where, note=note)  # noqa: E731
    return _done(request, site, name, Submitted(was=was, note=note), do)


@router.post("/cases/{name}/reopen")
def reopen(request: Request, site: CurrentSite, name: str, seen: Seen) -> Response:
    """Open a closed case again."""
    return _done(request, site, name, Submitted(), lambda: changes.reopen(site, name, seen=seen))
