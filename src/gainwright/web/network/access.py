"""The door to the local network: its addresses and certificate, pairing, and who came through it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gainwright.errors import CallError
from gainwright.web.network.connections import MARK, Connections, Crowd
from gainwright.web.network.pairing import COOKIE, Pairing, device_name, digest_of, new_token

if TYPE_CHECKING:
    import datetime

    from starlette.requests import HTTPConnection
    from starlette.types import Scope

    from gainwright.app.store import Device, Devices
    from gainwright.web.site import Site

DOOR, OWN_DOOR, LAN_DOOR = "gainwright.door", "own", "lan"
"""Key of a request's scope, set by the server that it came to: from this machine, or from the local network."""
TOKEN_LENGTH = 43


@dataclass
class Entrance:
    """How other devices come in.

    Attributes
    ----------
    addresses : `https` addresses of the door, the likeliest first; empty when it is shut.
    authority : certificate of the own authority, DER; empty when the server's certificate was given.
    fingerprint : its SHA-256, as phones show it.
    until : when the server's certificate ends.
    """

    addresses: tuple[str, ...] = ()
    authority: bytes = b""
    fingerprint: str = ""
    until: datetime.datetime | None = None
    pairing: Pairing = field(default_factory=Pairing)
    connections: Connections = field(default_factory=Connections)
    strangers: Crowd = field(default_factory=Crowd)

    @property
    def pairing_address(self) -> str:
        """Where a device is paired, with the code that is good now; what the drawn code holds."""
        code = self.pairing.code
        return f"{self.addresses[0]}/pair?code={code.digits}" if self.addresses and code else ""

    def admit(self, devices: Devices, *, code: str, name: str, address: str) -> tuple[str, str]:
        """Pair a device; return its token, kept by the device only, and its name.

        Raises
        ------
        PairingError : the name can't be one, or the code isn't right.
        """
        from gainwright.web.site import THIS_MACHINE

        taken = {THIS_MACHINE, *(device.name for device in devices.list() if not device.put_out)}
        named = device_name(name, taken=taken)
        self.pairing.take(code, address=address)
        token = new_token()
        devices.add(name=named, token_digest=digest_of(token))
        return token, named


def put_out(connection: HTTPConnection, site: Site, device: str) -> None:
    """Let a device in no more, and end what it has open; from another device only itself.

    Raises
    ------
    CallError : `no_such_device`, `own_machine_only`.
    """
    if device != connection.scope.get("gainwright.device_id"):
        only_from_own_machine(connection)
    site.store.devices.put_out(device)
    site.entrance.connections.cut(device, but=connection.scope.get(MARK))


def known(devices: Devices, token: str) -> Device | None:
    """Return the device of a token; none when it was put out or is no token."""
    if len(token) != TOKEN_LENGTH or not token.isascii():
        return None
    return devices.by_token(digest_of(token))


def token_of(connection: HTTPConnection) -> str:
    """Return the token that a request brought, empty when none."""
    return connection.cookies.get(COOKIE, "")


def from_own_machine(scope: Scope) -> bool:
    """Tell whether a request came through the door of this machine."""
    return bool(scope.get(DOOR) == OWN_DOOR)


def only_from_own_machine(connection: HTTPConnection) -> None:
    """Refuse what may be done on the machine itself only.

    Raises
    ------
    CallError : `own_machine_only`.
    """
    if not from_own_machine(connection.scope):
        raise CallError(
            "this can be done on the machine itself only",
            code="own_machine_only",
            remedy="open its page This bench there",
        )
