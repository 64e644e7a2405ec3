"""Pages of cases: search, tally, and the dialogue of one."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Form, Query, Request, UploadFile
from starlette.responses import Response

from gainwright.app.cases.answer_forms import entry_from_form
from gainwright.app.cases.endings import Ending
from gainwright.app.cases.history import COLUMNS, MOST_BYTES, HistoryError
from gainwright.app.cases.history_import import import_history
from gainwright.app.store import ConflictError
from gainwright.errors import CallError, GainwrightError
from gainwright.model.case import NO_FAULT, Outcome
from gainwright.report.closing import OUTCOMES
from gainwright.texts import say
from gainwright.web import diagnoses
from gainwright.web.cases import changes, pictures
from gainwright.web.cases.case_page import Submitted, case_page
from gainwright.web.cases.changes import case_address
from gainwright.web.cases.complaint_form import chosen_of
from gainwright.web.form_fields import Fields, seen_of
from gainwright.web.page_language import language_of
from gainwright.web.rendering import go_to, page
from gainwright.web.site import CurrentCase, CurrentSite

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.app.cases.history_import import ImportedHistory
    from gainwright.app.store import StoredCase
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)
MOST_LISTED = 200
Words = Annotated[str, Query(max_length=200)]
Show = Literal["all", "open", "closed"]


@router.get("/cases")
def cases(request: Request, site: CurrentSite, words: Words = "", show: Show = "all") -> Response:
    """Show the cases that contain all of the words."""
    matching = site.store.cases.find(words)
    if show != "all":
        matching = [kept for kept in matching if (kept.case.closed is None) == (show == "open")]
    # a case is parsed on first use: only those that are listed are
    listed = matching[:MOST_LISTED]
    return page(request, "cases.html", cases=listed, more=len(matching) - MOST_LISTED, words=words, show=show)


@router.get("/cases/tally")
def tally(request: Request, site: CurrentSite) -> Response:
    """Show the counts of the shop's closed cases."""
    return _tally(request, site)


def _tally(
    request: Request, site: Site, *, done: ImportedHistory | None = None, error: GainwrightError | None = None
) -> Response:
    wrong = error.lines if isinstance(error, HistoryError) else ()
    counts = diagnoses.tally(site)
    return page(
        request, "tally.html", counts=counts, outcomes=OUTCOMES, columns=COLUMNS, done=done, wrong=wrong, error=error
    )


@router.post("/cases/tally/history")
def add_history(request: Request, site: CurrentSite, file: UploadFile) -> Response:
    """Import a table of closed cases; its wrong lines are listed, and nothing is stored."""
    try:
        done = import_history(site.store.cases, file.file.read(MOST_BYTES + 1))
    except GainwrightError as error:
        return _tally(request, site, error=error)
    return _tally(request, site, done=done)


@router.get("/cases/tally.svg")
def tally_chart(site: CurrentSite) -> Response:
    """Draw the closed cases by cause."""
    return pictures.tally(site)


@router.get("/cases/{name}")
def case(request: Request, site: CurrentSite, name: str, test: Annotated[int, Query(ge=1, le=50)] = 1) -> Response:
    """Show a case: the next test, the causes, the chain, the evidence."""
    return case_page(request, site, name, sent=Submitted(test=test))


@router.get("/cases/{name}/belief.svg")
def belief(site: CurrentSite, case: CurrentCase) -> Response:
    """Draw the probabilities after each entry."""
    return pictures.belief(site, case)


@router.get("/cases/{name}/customer.{form}")
def customer(request: Request, site: CurrentSite, case: CurrentCase, form: Literal["html", "pdf"]) -> Response:
    """Return the customer's page in the language of the pages: HTML to be viewed, or PDF for download."""
    return pictures.customer(site, case, f".{form}", code=language_of(request))


def _done(request: Request, site: Site, name: str, sent: Submitted, do: Callable[[], StoredCase]) -> Response:
    """Change a case and show it; an error or a conflict is shown beside what was typed."""
    try:
        do()
    except ConflictError as error:
        return case_page(request, site, name, sent=sent, error=error, conflict=True)
    except GainwrightError as error:
        if error.code in ("no_such_case", "bad_name"):
            raise
        return case_page(request, site, name, sent=sent, error=error)
    return go_to(case_address(name))


Seen = Annotated[int, Form(ge=0, le=2**31)]
Short = Annotated[str, Form(max_length=200)]


def _mapping(text: str) -> dict[str, Any]:
    try:
        parsed = json.loads(text)
    except (ValueError, RecursionError):
        parsed = None
    if not isinstance(parsed, dict):
        raise CallError(say("the answered test can't be read"), code="bad_entry", remedy=say("answer it again"))
    return parsed


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
    do: Annotated[Literal["", "dont_know", "cant_reach", "only_ears"], Form()] = "",
    sure: Annotated[bool, Form()] = False,
) -> Response:
    """Add the answer to a test, or skip it."""

    def done() -> StoredCase:
        asked = _mapping(entry)
        if do == "dont_know":
            return changes.dont_know(site, name, seen=seen, entry=asked)
        if do == "cant_reach":
            return changes.cant_reach(site, name, seen=seen, entry=asked)
        if do == "only_ears":
            return changes.only_ears(site, name, seen=seen, entry=asked)
        return changes.answer(site, name, seen=seen, entry=asked, text=sent.text, second=sent.second, sure=sure)

    sent = Submitted(entry=entry, text=choice or text, second="" if choice else second, do=do)
    return _done(request, site, name, sent, done)


@router.post("/cases/{name}/add")
def add(request: Request, site: CurrentSite, name: str, given: Fields) -> Response:
    """Add an observation that no test asked for."""

    def do() -> StoredCase:
        seen, job = seen_of(given), site.models.job(site.store.cases.get(name).case.job)
        return changes.add(site, name, seen=seen, entry=entry_from_form(given, job))

    return _done(request, site, name, Submitted(own=given), do)


@router.post("/cases/{name}/complaint")
def complain(request: Request, site: CurrentSite, name: str, given: Fields) -> Response:
    """Add what a complaint tells, chosen or in a sentence."""
    text, chosen = given.get("text", ""), chosen_of(given)
    do = lambda: changes.complain(site, name, seen=seen_of(given), text=text, chosen=chosen)  # noqa: E731
    return _done(request, site, name, Submitted(complaint=text, chosen=chosen), do)


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
    sent = Submitted(number=number, text=choice or text, second="" if choice else second)
    do = lambda: changes.correct(site, name, seen=seen, number=number, text=sent.text, second=sent.second)  # noqa: E731
    return _done(request, site, name, sent, do)


@router.post("/cases/{name}/close")
def close(
    request: Request,
    site: CurrentSite,
    name: str,
    seen: Seen,
    was: Short = "",
    outcome: Annotated[Outcome, Form()] = "found",
    also: Short = "",
    named: Short = "",
    note: Annotated[str, Form(max_length=2000)] = "",
) -> Response:
    """Close a case: found, two faults, something else, no fault, or unsolved."""
    cause, _, where = was.partition("|")
    second, _, there = also.partition("|")
    healthy = outcome == "no_fault" and cause not in NO_FAULT
    ending = Ending("" if healthy else cause, "" if healthy else where, outcome, second, there, named, note)
    do = lambda: changes.close(site, name, seen=seen, ending=ending)  # noqa: E731
    return _done(request, site, name, Submitted(was=was, outcome=outcome, also=also, named=named, note=note), do)


@router.post("/cases/{name}/undo")
@router.post("/cases/{name}/renew")
@router.post("/cases/{name}/reopen")
def change(request: Request, site: CurrentSite, name: str, seen: Seen) -> Response:
    """Undo the last step, use the present version of the job, or reopen a closed case."""
    do = {"undo": changes.undo, "renew": changes.renew, "reopen": changes.reopen}[request.url.path.rpartition("/")[2]]
    return _done(request, site, name, Submitted(), lambda: do(site, name, seen=seen))
