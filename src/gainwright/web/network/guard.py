"""Checks of every request, in pure ASGI around the app: host, origin, pairing, size and time; security headers."""

from __future__ import annotations

import asyncio
from http import HTTPStatus
from typing import TYPE_CHECKING, Literal, NamedTuple

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response

from gainwright.errors import GainwrightError
from gainwright.web.content_policy import policy
from gainwright.web.network.access import LAN, LISTENER, LOOPBACK, paired_device, token_of
from gainwright.web.network.body_limits import MOST_UNPAIRED_BYTES, limited, most_bytes, size_in_words
from gainwright.web.network.hosts import read_host, same_origin
from gainwright.web.network.own_browser import OPEN
from gainwright.web.shown_errors import shown

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from gainwright.app.store import Devices, PairedDevice
    from gainwright.web.network.access import NetworkAccess

HEADERS = {
    "content-security-policy": policy(),
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=(self)",
    "cache-control": "no-store",
}
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
UNPAIRED_PATHS = ("/pair", "/certificate", "/manifest.webmanifest", "/service-worker.js")
"""What an unpaired device may request, besides `/static/`."""
UNPAIRED = "an unpaired device"


class Refusal(NamedTuple):
    """Why a request is refused."""

    status: int
    code: str
    what: str


class Guard:
    """Passes on requests for one of our host names, from our own pages and a paired device, within the HTTP limits."""

    def __init__(self, app: ASGIApp, access: NetworkAccess, devices: Devices) -> None:
        self.app, self.access, self.devices = app, access, devices

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or refuse."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        if not self.access.lan:  # then there is only the loopback listener
            scope[LISTENER] = LOOPBACK
        refused = self._refused(scope)
        if refused is not None:
            await _refuse(refused, scope, receive, send)
        elif scope.get(LISTENER) == LOOPBACK:
            await self._from_own_machine(scope, receive, send)
        else:
            scope[LISTENER] = LAN
            await self._from_lan(scope, receive, send)

    def _refused(self, scope: Scope) -> Refusal | None:
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        host = read_host(hosts[0], scheme=scope["scheme"]) if len(hosts) == 1 else None
        if host is None or not self._ours(host[0], scope) or not scope["path"].startswith("/"):
            what = "unknown host name; open the address that gainwright serve printed"
            return Refusal(421, "other_host", what)
        if not _from_here(scope, headers, host):
            return Refusal(403, "other_site", "this request came from another site's page and was refused")
        length = headers.get("content-length", "0")
        most = most_bytes(scope)
        if not (length.isascii() and length.isdigit() and len(length) < 16 and int(length) <= most):
            return Refusal(413, "too_large", f"that is larger than {size_in_words(most)}; send a shorter piece")
        return None

    def _ours(self, name: str, scope: Scope) -> bool:
        # the loopback listener answers to loopback names only: no name of the network reaches it
        return name in (self.access.loopback_hosts if scope.get(LISTENER) == LOOPBACK else self.access.lan_hosts)

    async def _from_own_machine(self, scope: Scope, receive: Receive, send: Send) -> None:
        own, connection = self.access.own, HTTPConnection(scope)
        opened = None if own is None else own.opened(connection)
        if opened is not None:
            await opened(scope, receive, _with_headers(send))
        elif own is None or own.admits(connection):
            await self.app(scope, _limited(scope, receive), _with_headers(send))
        elif _is_page(scope):
            await RedirectResponse(OPEN, 303, HEADERS)(scope, receive, send)
        else:
            what = "this needs the token of the address that gainwright serve printed"
            await _refuse(Refusal(401, "no_token", what), scope, receive, send)

    async def _from_lan(self, scope: Scope, receive: Receive, send: Send) -> None:
        address = scope["client"][0] if scope.get("client") else ""
        unpaired = self.access.unpaired
        if not unpaired.add(address):
            await _refuse(Refusal(429, "too_many", "too many requests at once; wait a moment"), scope, receive, send)
            return
        counted = True
        try:
            device = await self._device(scope)
            if device is None:
                await self._unpaired(scope, receive, send)
                return
            unpaired.remove(address)
            counted = False
            scope["gainwright.device"], scope["gainwright.device_id"] = device.name, device.id
            run, app = self.access.connections.run, self.access.turns.of(device.id, self.app)
            await run(device.id, app, scope, _limited(scope, receive), _with_headers(send))
        except GainwrightError as error:  # the store couldn't be read
            await _refuse(Refusal(503, error.code, shown(error).what), scope, receive, send)
        finally:
            if counted:
                unpaired.remove(address)

    async def _device(self, scope: Scope) -> PairedDevice | None:
        token = token_of(HTTPConnection(scope))
        return await asyncio.to_thread(paired_device, self.devices, token) if token else None

    async def _unpaired(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = scope["path"]
        if scope["type"] == "http" and (path in UNPAIRED_PATHS or path.startswith("/static/")):
            scope["gainwright.device"] = UNPAIRED
            await self.app(scope, limited(receive, most=MOST_UNPAIRED_BYTES), _with_headers(send))
        elif _is_page(scope):
            await RedirectResponse("/pair", 303, HEADERS)(scope, receive, send)
        else:
            what = "this device isn't paired; open /pair and enter the code that the computer shows"
            await _refuse(Refusal(401, "not_paired", what), scope, receive, send)


def _is_page(scope: Scope) -> bool:
    return scope["type"] == "http" and scope["method"] in SAFE_METHODS and not scope["path"].startswith("/api/")


def _from_here(scope: Scope, headers: Headers, host: tuple[str, int]) -> bool:
    """Return whether a request comes from our own page, an address typed by a person, or a program.

    From another site's page, only a link that a person follows is accepted: the resource isolation policy of Fetch
    Metadata (W3C), and Origin (RFC 6454).
    """
    origins = headers.getlist("origin")
    if origins and not (len(origins) == 1 and same_origin(origins[0], scheme=scope["scheme"], host=host)):
        return False
    site = headers.get("sec-fetch-site", "none")
    if site in ("same-origin", "none"):
        return True
    going = headers.get("sec-fetch-mode") == "navigate" and headers.get("sec-fetch-dest") == "document"
    return scope["type"] == "http" and scope["method"] in ("GET", "HEAD") and going


def _limited(scope: Scope, receive: Receive) -> Receive:
    return limited(receive, most=most_bytes(scope)) if scope["type"] == "http" else receive


async def _refuse(refused: Refusal, scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008, "reason": refused.what[:120]})
        return
    kind: Literal["json", "text"] = "json" if scope["path"].startswith("/api/") else "text"
    await _answer(refused, kind)(scope, receive, send)


def _answer(refused: Refusal, kind: Literal["json", "text"]) -> Response:
    headers = {**HEADERS, "connection": "close"}  # the rest of the body is not read
    if refused.status == HTTPStatus.TOO_MANY_REQUESTS:
        headers["retry-after"] = "2"
    if kind == "text":
        return PlainTextResponse(refused.what + "\n", refused.status, headers)
    body = {"code": refused.code, "where": "", "what": refused.what, "rule": "", "remedy": ""}
    return JSONResponse(body, refused.status, headers)


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sending
