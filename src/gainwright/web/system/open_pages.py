"""The page that asks this machine's own browser for the token, when it was opened without."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import Response

from gainwright.errors import CallError, GainwrightError
from gainwright.texts import say
from gainwright.web.network.access import from_own_machine
from gainwright.web.network.own_browser import OPEN
from gainwright.web.rendering import go_to, page
from gainwright.web.site import CurrentSite

router = APIRouter(include_in_schema=False)


@router.get(OPEN)
def ask(request: Request, site: CurrentSite) -> Response:
    """Ask for the token; a device of the network, and a browser that needs none, go to the jobs."""
    return _ask(request) if _asked_here(request, site) else go_to("/")


@router.post(OPEN)
def take(request: Request, site: CurrentSite, token: Annotated[str, Form(max_length=400)] = "") -> Response:
    """Give the cookie to a browser whose user knows the token."""
    own = site.network.own
    if own is None or not _asked_here(request, site):
        return go_to("/")
    if own.accepts(token):
        return own.with_cookie(go_to("/"))
    return _ask(
        request,
        CallError(
            say("that isn't the address of this start"),
            code="wrong_token",
            where="token",
            remedy=say("copy all of it, from http to the end"),
        ),
    )


def _asked_here(request: Request, site: CurrentSite) -> bool:
    return site.network.own is not None and from_own_machine(request.scope)


def _ask(request: Request, error: GainwrightError | None = None) -> Response:
    return page(request, "open.html", error=error)
