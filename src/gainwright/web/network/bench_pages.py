"""The page This bench: who may come in, where things are kept and whether they are sound, what is installed."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import APIRouter, Form, Request
from starlette.responses import Response

from gainwright.errors import GainwrightError
from gainwright.web.network.access import from_own_machine, only_from_own_machine, put_out
from gainwright.web.network.qr_code import drawn
from gainwright.web.rendering import go_to, page
from gainwright.web.site import CurrentSite

if TYPE_CHECKING:
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)


@router.get("/bench")
def bench(request: Request, site: CurrentSite, look: Literal["", "store", "program"] = "") -> Response:
    """Show it all; what takes longer, the store gone through or each part of the program tried, when it is asked for."""
    own = from_own_machine(request.scope)
    code = site.entrance.pairing.code if own else None
    left = datetime.timedelta(seconds=site.entrance.pairing.left_s)
    devices = site.store.devices.list()
    return page(
        request,
        "bench.html",
        own=own,
        entrance=site.entrance,
        code=code.shown if code else "",
        until=datetime.datetime.now().astimezone() + left,
        drawn=drawn(site.entrance.pairing_address if own else ""),
        devices=[device for device in devices if not device.put_out],
        gone=[device for device in devices if device.put_out],
        here=site.entrance.connections.here(),
        itself=request.scope.get("gainwright.device_id", ""),
        health=_health(site, own=own) if look == "store" else None,
        parts=site.world.installation() if look == "program" else None,
    )


def _health(site: Site, *, own: bool) -> dict[str, object]:
    try:
        return {"error": None, "found": site.world.store_maintenance(site.where or None).check()}
    except GainwrightError as error:
        return {"error": error if own else error.with_place(""), "found": None}


@router.post("/bench/code")
def new_code(request: Request, site: CurrentSite) -> Response:
    """Make a new code; the one before it is void."""
    only_from_own_machine(request)
    site.entrance.pairing.new_code()
    return go_to("/bench")


@router.post("/bench/put_out")
def out(request: Request, site: CurrentSite, device: Annotated[str, Form(max_length=80)]) -> Response:
    """Let a device in no more: any from the machine itself, else only the one that asks."""
    put_out(request, site, device)
    return go_to("/bench")
