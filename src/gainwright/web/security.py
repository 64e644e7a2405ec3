"""Who is let in, and what a page may do: host and origin, strict headers, limits. Pure ASGI, around everything."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

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
MOST_BYTES = 2_000_000
"""Largest body of a request, but for uploads of recordings."""
MOST_UPLOAD_BYTES = 200_000_000
UPLOADS = ("/recordings", "/upload")
"""Ends of paths that take large bodies."""


def policy(**changed: str) -> str:
    """Return the content security policy with some directives changed (`style_src` for `style-src`)."""
    return "; ".join(f"{k} {v}" for k, v in {**POLICY, **{k.replace("_", "-"): v for k, v in changed.items()}}.items())


class TooLarge(Exception):  # noqa: N818  told to the server, not to a person
    """A body went on past its limit."""


class Guard:
    """Lets through what came to one of our names, from our own pages, and isn't too large; sets the headers of answers."""

    def __init__(self, app: ASGIApp, site: Site) -> None:
        self.app, self.site = app, site

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or refuse."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        refused = self._refused(scope)
        if refused is not None:
            await _refuse(refused, scope, receive, send)
            return
        await self.app(scope, _limited(receive, scope), _with_headers(send))

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        name = host.rsplit(":", 1)[0] if host.rsplit(":", 1)[-1].isdigit() else host
        if name.lower() not in self.site.hosts:
            return 421, "this is not the host that was asked for; open the address that gainwright serve printed"
        changes = scope["type"] == "websocket" or scope["method"] not in SAFE_METHODS
        if changes and not _from_here(headers, host):
            return 403, "this came from another site's page and was not done"
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > _limit(scope):
            return 413, f"that is larger than {_limit(scope) // 1_000_000} MB; send a shorter piece"
        return None


def _from_here(headers: Headers, host: str) -> bool:
    site = headers.get("sec-fetch-site", "same-origin")
    origin = headers.get("origin")
    return site in ("same-origin", "none") and (origin is None or urlsplit(origin).netloc == host)


def _limit(scope: Scope) -> int:
    return MOST_UPLOAD_BYTES if scope["path"].endswith(UPLOADS) else MOST_BYTES


async def _refuse(refused: tuple[int, str], scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008, "reason": refused[1][:120]})
        return
    await PlainTextResponse(refused[1] + "\n", refused[0], HEADERS)(scope, receive, send)


def _limited(receive: Receive, scope: Scope) -> Receive:
    if scope["type"] != "http":
        return receive
    taken = 0

    async def counted() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > _limit(scope):
            raise TooLarge
        return message

    return counted


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sending
