"""Pairing of a device of the local network, and the certificate for it to trust."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import Response

from gainwright.errors import CallError, GainwrightError
from gainwright.texts import say
from gainwright.web.network.access import from_own_machine, paired_device, token_of
from gainwright.web.network.pairing import COOKIE, COOKIE_DAYS, PairingError
from gainwright.web.rendering import go_to, page
from gainwright.web.site import CurrentSite

if TYPE_CHECKING:
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)


@router.get("/pair")
def pair(request: Request, site: CurrentSite, code: Annotated[str, Query(max_length=20)] = "") -> Response:
    """Show the form for a device's name and the code; on the machine itself, the page where the code is made."""
    if from_own_machine(request.scope):
        return go_to("/bench")
    return _pair(request, site, code=code)


def _pair(
    request: Request, site: Site, *, code: str = "", name: str = "", error: GainwrightError | None = None
) -> Response:
    device = paired_device(site.store.devices, token_of(request))
    shown = page(
        request,
        "pair.html",
        network=site.network,
        code=code,
        named=name,
        error=error,
        own=False,
        already=device.name if device else "",
    )
    if isinstance(error, PairingError) and error.wait_s:
        shown.headers["retry-after"] = str(int(error.wait_s) + 1)
    return shown


@router.post("/pair")
def pair_device(
    request: Request,
    site: CurrentSite,
    code: Annotated[str, Form(max_length=40)] = "",
    name: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Pair a device that sends the right code."""
    if from_own_machine(request.scope):
        return go_to("/bench")
    address = request.client.host if request.client else ""
    try:
        token, _ = site.network.pair(site.store.devices, code=code, name=name, address=address)
    except GainwrightError as error:
        return _pair(request, site, code=code, name=name, error=error)
    done = go_to("/")
    done.set_cookie(
        COOKIE, token, max_age=COOKIE_DAYS * 86_400, path="/", secure=True, httponly=True, samesite="strict"
    )
    return done


@router.get("/certificate")
def certificate(site: CurrentSite) -> Response:
    """Return the certificate of the own authority, for a device to install."""
    if not site.network.authority:
        raise CallError(say("there is no certificate of an own authority"), code="no_such_certificate")
    headers = {"content-disposition": 'attachment; filename="gainwright-bench.crt"'}
    return Response(site.network.authority, media_type="application/x-x509-ca-cert", headers=headers)
