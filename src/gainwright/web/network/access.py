"""Access from the local network: its addresses and certificate, pairing, paired devices and their requests."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gainwright.errors import CallError
from gainwright.texts import say
from gainwright.web.network.connections import REQUEST_ID, Connections, UnpairedRequests
from gainwright.web.network.pairing import COOKIE, Pairing, device_name, digest_of, new_token
from gainwright.web.network.request_turns import RequestTurns

if TYPE_CHECKING:
    import datetime

    from starlette.requests import HTTPConnection
    from starlette.types import Scope

    from gainwright.app.store import Devices, PairedDevice
    from gainwright.web.network.own_browser import OwnBrowser

LISTENER, LOOPBACK, LAN = "gainwright.listener", "loopback", "lan"
"""Key of a request's scope with the listener that accepted it: the loopback one, or that of the local network."""
THIS_COMPUTER = "this computer"
"""Name of the device of requests that come from the computer that the program runs on."""
TOKEN_LENGTH = 43


@dataclass
class NetworkAccess:
    """Who may connect, and how other devices do.

    Attributes
    ----------
    lan : whether devices of the local network may connect; they must be paired.
    loopback_hosts, lan_hosts : Host names that requests may carry on each listener, without port.
    addresses : `https` addresses for other devices, the likeliest first; empty without `lan`.
    authority : certificate of the own authority, DER; empty when the server's certificate was given.
    fingerprint : its SHA-256, as phones show it.
    until : when the server's certificate expires.
    own : the token that requests to the loopback listener must carry; None where the app is called inside a program.
    """

    lan: bool = False
    loopback_hosts: frozenset[str] = frozenset({"127.0.0.1", "localhost", "[::1]"})
    lan_hosts: frozenset[str] = frozenset()
    addresses: tuple[str, ...] = ()
    authority: bytes = b""
    fingerprint: str = ""
    until: datetime.datetime | None = None
    own: OwnBrowser | None = None
    pairing: Pairing = field(default_factory=Pairing)
    connections: Connections = field(default_factory=Connections)
    turns: RequestTurns = field(default_factory=RequestTurns)
    unpaired: UnpairedRequests = field(default_factory=UnpairedRequests)

    @property
    def pairing_address(self) -> str:
        """The address of the pairing page with the current code, as the QR code holds it; empty without one."""
        code = self.pairing.code
        return f"{self.addresses[0]}/pair?code={code.digits}" if self.addresses and code else ""

    def pair(self, devices: Devices, *, code: str, name: str, address: str) -> tuple[str, str]:
        """Pair a device; return its token, of which only a digest is stored, and its name.

        Raises
        ------
        PairingError : the name can't be used, or the code is wrong.
        """
        taken = {THIS_COMPUTER, *(device.name for device in devices.list() if not device.put_out)}
        named = device_name(name, taken=taken)
        self.pairing.take(code, address=address)
        token = new_token()
        devices.add(name=named, token_digest=digest_of(token))
        return token, named

    def revoke(self, devices: Devices, device: str, *, by: HTTPConnection) -> None:
        """Revoke a device's access and end its open requests; another device may only revoke its own.

        Raises
        ------
        CallError : `no_such_device`, `own_machine_only`.
        """
        if device != by.scope.get("gainwright.device_id"):
            only_from_own_machine(by)
        devices.revoke(device)
        self.connections.cut(device, but=by.scope.get(REQUEST_ID))


def paired_device(devices: Devices, token: str) -> PairedDevice | None:
    """Return the device of a token; None when its access was revoked or no device has this token."""
    if len(token) != TOKEN_LENGTH or not token.isascii():
        return None
    return devices.by_token(digest_of(token))


def token_of(connection: HTTPConnection) -> str:
    """Return the token that a request carries, empty when it carries none."""
    return connection.cookies.get(COOKIE, "")


def from_own_machine(scope: Scope) -> bool:
    """Return whether a request came through the loopback listener."""
    return bool(scope.get(LISTENER) == LOOPBACK)


def only_from_own_machine(connection: HTTPConnection) -> None:
    """Refuse what may be done on the machine itself only.

    Raises
    ------
    CallError : `own_machine_only`.
    """
    if not from_own_machine(connection.scope):
        raise CallError(
            say("this can be done only on the computer that runs Gainwright"),
            code="own_machine_only",
            remedy=say("open the page System there"),
        )
