"""The bench over HTTP: its version and addresses, paired devices, the pairing code, what is installed."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Path, Request
from pydantic import BaseModel

from gainwright import __version__
from gainwright.adapters.installation import InstalledPart
from gainwright.harmless import without_folders
from gainwright.web.errors import ERROR_RESPONSES
from gainwright.web.network.access import only_from_own_machine
from gainwright.web.site import Actor, CurrentSite

if TYPE_CHECKING:
    from gainwright.web.site import Site

router = APIRouter(prefix="/api/bench", tags=["bench"], responses=ERROR_RESPONSES)


class BenchShown(BaseModel):
    """Version and network access of this bench; `device` is the name of the device that asks."""

    version: str
    lan: bool
    addresses: list[str]
    fingerprint: str
    device: str


class DeviceShown(BaseModel):
    """A paired device: `put_out` is whether its access was revoked, `here` whether it has open requests."""

    id: str
    name: str
    paired: datetime
    seen: datetime
    put_out: bool
    here: bool


class CodeShown(BaseModel):
    """A pairing code, valid for one device."""

    digits: str
    good_for_s: float
    address: str


@router.get("")
def bench(site: CurrentSite, actor: Actor) -> BenchShown:
    """Return the version, and the addresses for other devices."""
    access = site.network
    return BenchShown(
        version=__version__,
        lan=access.lan,
        addresses=list(access.addresses),
        fingerprint=access.fingerprint,
        device=actor,
    )


@router.get("/devices")
def devices(site: CurrentSite) -> list[DeviceShown]:
    """Return all devices that were ever paired, last seen first."""
    here = site.network.connections.devices()
    return [
        DeviceShown(id=d.id, name=d.name, paired=d.paired, seen=d.seen, put_out=d.put_out, here=d.id in here)
        for d in site.store.devices.list()
    ]


@router.post("/devices/{device}/put_out", status_code=204)
def revoke(request: Request, site: CurrentSite, device: Annotated[str, Path(max_length=80)]) -> None:
    """Revoke a device's access: any from the machine itself, otherwise only the one that asks."""
    site.network.revoke(site.store.devices, device, by=request)


@router.post("/code", status_code=201)
def code(request: Request, site: CurrentSite) -> CodeShown:
    """Make a new code, on the machine itself only; the previous one is void."""
    only_from_own_machine(request)
    pairing = site.network.pairing
    made = pairing.new_code()
    return CodeShown(digits=made.digits, good_for_s=pairing.left_s, address=site.network.pairing_address)


@router.get("/parts")
def parts(site: CurrentSite) -> list[InstalledPart]:
    """Return what is installed, after a test of each part."""
    return shown_parts(site)


def shown_parts(site: Site) -> list[InstalledPart]:
    """Return what is installed as other devices may see it: errors of importing, and lines of some installers, name files of this machine."""
    found = site.world.installation()
    return [replace(part, said=_hidden(part.said), remedy=_hidden(part.remedy)) for part in found]


def _hidden(text: str) -> str:
    """Return a text without folders; one without any can still be translated."""
    shown = without_folders(text)
    return text if shown == text else shown
