"""Who is let in, and what a page may do: host and origin, pairing, strict headers, limits. Pure ASGI, around everything."""

from __future__ import annotations

import asyncio
from http import HTTPStatus
from typing import TYPE_CHECKING, Literal, NamedTuple

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response

from gainwright.errors import GainwrightError
from gainwright.web.network.access import DOOR, LAN_DOOR, OWN_DOOR, known, token_of
from gainwright.web.network.body_limits import MOST_STRANGER_BYTES, limited, most_bytes, size_in_words
from gainwright.web.network.hosts import read_host, same_origin
from gainwright.web.shown_errors import shown

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from gainwright.app.store import Device
    from gainwright.web.site import Site

POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self' data: blob:",
    "media-src": "'self' blob:",
    "connect-src": "'self'",
    "form-action": "'self'",
    "frame-src": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}
"""Content security policy: nothing inline, nothing from elsewhere."""
HEADERS = {
    "content-security-policy": "; ".join(f"{k} {v}" for k, v in POLICY.items()),
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=(self)",
    "cache-control": "no-store",
}
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
FOR_STRANGERS = ("/pair", "/certificate")
"""What a device that isn't paired may ask for, and what lies under `/static/`."""
STRANGER = "a device that isn't paired"


class Refusal(NamedTuple):
    """Why a request goes no further."""

    status: int
    code: str
    what: str


def policy(**changed: str) -> str:
    """Return the content security policy with some directives changed (`style_src` for `style-src`)."""
    return "; ".join(f"{k} {v}" for k, v in {**POLICY, **{k.replace("_", "-"): v for k, v in changed.items()}}.items())


class Guard:
    """Lets through what came to one of our names, from our own pages, from a known device, and isn't too large or slow."""

    def __init__(self, app: ASGIApp, site: Site) -> None:
        self.app, self.site = app, site

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or refuse."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        if not self.site.lan:  # then there is one door only
            scope[DOOR] = OWN_DOOR
        refused = self._refused(scope)
        if refused is not None:
            await _refuse(refused, scope, receive, send)
        elif scope.get(DOOR) == OWN_DOOR:
            await self.app(scope, _limited(scope, receive), _with_headers(send))
        else:
            scope[DOOR] = LAN_DOOR
            await self._from_lan(scope, receive, send)

    def _refused(self, scope: Scope) -> Refusal | None:
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        host = read_host(hosts[0], scheme=scope["scheme"]) if len(hosts) == 1 else None
        if host is None or not self._ours(host[0], scope) or not scope["path"].startswith("/"):
            what = "this is not the host that was asked for; open the address that gainwright serve printed"
            return Refusal(421, "other_host", what)
        if not _from_here(scope, headers, host):
            return Refusal(403, "other_site", "this came from another site's page and was not done")
        length = headers.get("content-length", "0")
        most = most_bytes(scope)
        if not (length.isascii() and length.isdigit() and len(length) < 16 and int(length) <= most):
            return Refusal(413, "too_large", f"that is larger than {size_in_words(most)}; send a shorter piece")
        return None

    def _ours(self, name: str, scope: Scope) -> bool:
        # pages of this machine's own door are to be had under its loopback names only: no name of the network leads there
        return name in (self.site.hosts if scope.get(DOOR) == OWN_DOOR else self.site.lan_hosts)

    async def _from_lan(self, scope: Scope, receive: Receive, send: Send) -> None:
        address = scope["client"][0] if scope.get("client") else ""
        strangers = self.site.entrance.strangers
        if not strangers.enter(address):
            await _refuse(Refusal(429, "too_many", "too many requests at once; wait a moment"), scope, receive, send)
            return
        inside = True
        try:
            device = await self._device(scope)
            if device is None:
                await self._stranger(scope, receive, send)
                return
            strangers.leave(address)
            inside = False
            scope["gainwright.device"], scope["gainwright.device_id"] = device.name, device.id
            run = self.site.entrance.connections.run
            await run(device.id, self.app, scope, _limited(scope, receive), _with_headers(send))
        except GainwrightError as error:  # the store couldn't be asked who it is
            await _refuse(Refusal(503, error.code, shown(error).what), scope, receive, send)
        finally:
            if inside:
                strangers.leave(address)

    async def _device(self, scope: Scope) -> Device | None:
        token = token_of(HTTPConnection(scope))
        return await asyncio.to_thread(known, self.site.store.devices, token) if token else None

    async def _stranger(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = scope["path"]
        if scope["type"] == "http" and (path in FOR_STRANGERS or path.startswith("/static/")):
            scope["gainwright.device"] = STRANGER
            await self.app(scope, limited(receive, most=MOST_STRANGER_BYTES), _with_headers(send))
        elif scope["type"] == "http" and scope["method"] in SAFE_METHODS and not path.startswith("/api/"):
            await RedirectResponse("/pair", 303, HEADERS)(scope, receive, send)
        else:
            what = "this device isn't paired; open /pair and enter the code that the machine shows"
            await _refuse(Refusal(401, "not_paired", what), scope, receive, send)


def _from_here(scope: Scope, headers: Headers, host: tuple[str, int]) -> bool:
    """Tell whether our own page, a person, or a program asked; another site's page may only be the way a person came.

    Follows the resource isolation policy that Fetch Metadata (W3C) is meant for, and Origin (RFC 6454) beside it.
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
    headers = {**HEADERS, "connection": "close"}  # what is left of the body is not read
    if refused.status == HTTPStatus.TOO_MANY_REQUESTS:
        headers["retry-after"] = "2"
    if kind == "text":
        return PlainTextResponse(refused.what + "\n", refused.status, headers)
    told = {"code": refused.code, "where": "", "what": refused.what, "rule": "", "remedy": ""}
    return JSONResponse(told, refused.status, headers)


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sending
