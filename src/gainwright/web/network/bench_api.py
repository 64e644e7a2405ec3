"""The bench itself over HTTP: its devices, the code that lets one in, what the store holds, what is installed."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Path, Request
from pydantic import BaseModel

from gainwright import __version__
from gainwright.adapters.installation import InstalledPart
from gainwright.web.network.access import only_from_own_machine, put_out
from gainwright.web.site import Actor, CurrentSite

router = APIRouter(prefix="/api/bench", tags=["bench"])


class BenchShown(BaseModel):
    """What runs here; `device` is what the asker is called."""

    version: str
    lan: bool
    addresses: list[str]
    fingerprint: str
    device: str


class DeviceShown(BaseModel):
    """A device that was paired."""

    id: str
    name: str
    paired: datetime
    seen: datetime
    put_out: bool
    here: bool


class CodeShown(BaseModel):
    """A code that is good for one device."""

    digits: str
    good_for_s: float
    address: str


@router.get("")
def bench(site: CurrentSite, actor: Actor) -> BenchShown:
    """Return what runs here and where other devices reach it."""
    door = site.entrance
    return BenchShown(
        version=__version__, lan=site.lan, addresses=list(door.addresses), fingerprint=door.fingerprint, device=actor
    )


@router.get("/devices")
def devices(site: CurrentSite) -> list[DeviceShown]:
    """Return all devices that were ever paired, last seen first."""
    here = site.entrance.connections.here()
    return [
        DeviceShown(id=d.id, name=d.name, paired=d.paired, seen=d.seen, put_out=d.put_out, here=d.id in here)
        for d in site.store.devices.list()
    ]


@router.post("/devices/{device}/put_out", status_code=204)
def out(request: Request, site: CurrentSite, device: Annotated[str, Path(max_length=80)]) -> None:
    """Let a device in no more: any from the machine itself, else only the one that asks."""
    put_out(request, site, device)


@router.post("/code", status_code=201)
def code(request: Request, site: CurrentSite) -> CodeShown:
    """Make a new code, on the machine itself only; the one before it is void."""
    only_from_own_machine(request)
    made = site.entrance.pairing.new_code()
    return CodeShown(digits=made.digits, good_for_s=site.entrance.pairing.left_s, address=site.entrance.pairing_address)


@router.get("/parts")
def parts(site: CurrentSite) -> list[InstalledPart]:
    """Return what is installed, each part tried."""
    return site.world.installation()
