"""The page System: paired devices, the pairing code, the state of the store, what is installed."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import APIRouter, Form, Request
from starlette.responses import Response

from gainwright.errors import CallError, GainwrightError
from gainwright.texts import say
from gainwright.web.network.access import from_own_machine, only_from_own_machine
from gainwright.web.network.qr_code import drawn
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.site import CurrentSite
from gainwright.web.system.api import shown_parts

if TYPE_CHECKING:
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)


@router.get("/bench")
def bench(request: Request, site: CurrentSite, look: Literal["", "store", "program"] = "") -> Response:
    """Show the page; check the store, or test each part of the program, only when asked."""
    return _bench(request, site, look=look)


def _bench(request: Request, site: Site, *, look: str = "", error: GainwrightError | None = None) -> Response:
    own = from_own_machine(request.scope)
    code = site.network.pairing.code if own else None
    left = datetime.timedelta(seconds=site.network.pairing.left_s)
    devices = site.store.devices.list()
    return page(
        request,
        "bench.html",
        own=own,
        can_open_lan=own and site.open_lan is not None,
        error=error,
        network=site.network,
        code=code.shown if code else "",
        until=datetime.datetime.now().astimezone() + left,
        drawn=drawn(site.network.pairing_address if own else ""),
        devices=[device for device in devices if not device.put_out],
        revoked=[device for device in devices if device.put_out],
        here=site.network.connections.devices(),
        itself=request.scope.get("gainwright.device_id", ""),
        health=_health(site, own=own) if look == "store" else None,
        parts=shown_parts(site) if look == "program" else None,
    )


def _health(site: Site, *, own: bool) -> dict[str, object]:
    try:
        return {"error": None, "found": site.world.store_maintenance(site.where or None).check()}
    except GainwrightError as error:
        return {"error": error if own else error.with_place(""), "found": None}


@router.post("/bench/lan")
def open_lan(request: Request, site: CurrentSite) -> Response:
    """Let devices of the local network connect once they are paired, until the program ends."""
    only_from_own_machine(request)

    def do() -> str:
        if site.open_lan is None:
            raise CallError(
                say("the network can't be opened from here"),
                code="no_network",
                remedy=say("start the web app for the network"),
            )
        site.open_lan()
        site.network.pairing.new_code()
        return "/bench"

    return done_or_shown(do, lambda error: _bench(request, site, error=error))


@router.post("/bench/code")
def new_code(request: Request, site: CurrentSite) -> Response:
    """Make a new code; the previous one is void."""
    only_from_own_machine(request)
    site.network.pairing.new_code()
    return go_to("/bench")


@router.post("/bench/put_out")
def revoke(request: Request, site: CurrentSite, device: Annotated[str, Form(max_length=80)]) -> Response:
    """Revoke a device's access: any from the machine itself, otherwise only the one that asks."""
    site.network.revoke(site.store.devices, device, by=request)
    return go_to("/bench")
