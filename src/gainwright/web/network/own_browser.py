"""Who may use the loopback listener: the account that runs the program, known by a token in the address that its browser opens.

Every account of a machine reaches 127.0.0.1. The token becomes a cookie; scripts send it as `Authorization: Bearer`.
"""

from __future__ import annotations

import logging
import re
import secrets
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from urllib.parse import quote, urlencode

from starlette.responses import RedirectResponse

from gainwright.web.network.pairing import COOKIE_DAYS

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.requests import HTTPConnection
    from starlette.responses import Response

OPEN = "/open"
"""The page that asks for the token."""
PUBLIC_PATHS = (OPEN, "/manifest.webmanifest", "/service-worker.js")
"""What is answered without a token, besides `/static/`: nothing in it is of a job."""
PARAMETER = "token"
OPENING_S = 120.0
"""How long the browser may take to open the address it is started with."""

log = logging.getLogger("gainwright.web")


@dataclass
class OwnBrowser:
    """The token of this account, and the codes of addresses that a browser was started with.

    Other accounts can see the command line of a browser. Its address therefore has a code that is valid once, for a short
    time, in place of the token.

    Parameters
    ----------
    token : of this account.
    port : of the loopback listener; a browser sends cookies to all ports of a host, so the cookie is named by it.
    clock : monotonic time in seconds.
    """

    token: str
    port: int
    clock: Callable[[], float] = time.monotonic
    _codes: dict[str, float] = field(default_factory=dict)
    _used: set[str] = field(default_factory=set)

    @property
    def cookie(self) -> str:
        """Name of the cookie with the token."""
        return f"gainwright-own-{self.port}"

    def address(self, base: str) -> str:
        """Return the address to open, with the token."""
        return f"{base}?{PARAMETER}={self.token}"

    def opening_address(self, base: str) -> str:
        """Return an address that can be opened once and soon."""
        code = secrets.token_urlsafe(32)
        self._codes[code] = self.clock() + OPENING_S
        return f"{base}?{PARAMETER}={code}"

    def admits(self, connection: HTTPConnection) -> bool:
        """Return whether a request carries the token, or needs none."""
        path = connection.scope["path"]
        if path in PUBLIC_PATHS or path.startswith("/static/"):
            return True
        kind, _, sent = connection.headers.get("authorization", "").partition(" ")
        return self._same(connection.cookies.get(self.cookie, "")) or (kind.lower() == "bearer" and self._same(sent))

    def opened(self, connection: HTTPConnection) -> Response | None:
        """Return the redirect that gives the cookie to a request for an address with the token or a code; None for others."""
        sent = connection.query_params.get(PARAMETER, "")
        if connection.scope["type"] != "http" or connection.scope["method"] != "GET" or not self._taken(sent):
            return None
        rest = [(name, value) for name, value in connection.query_params.multi_items() if name != PARAMETER]
        path = "/" + quote(connection.scope["path"].lstrip("/\\"))  # two slashes would name another host
        return self.with_cookie(RedirectResponse(f"{path}?{urlencode(rest)}" if rest else path, 303))

    def accepts(self, typed: str) -> bool:
        """Return whether a person entered the token, or the whole address with it."""
        found = re.search(rf"{PARAMETER}=([\w-]+)", typed)
        return self._same(found[1] if found else typed.strip())

    def with_cookie(self, response: Response) -> Response:
        """Return a response that gives the token to a browser."""
        # not `strict`: a link in a letter is followed without it; no other site's form or script gets past the guard
        response.set_cookie(
            self.cookie, self.token, max_age=COOKIE_DAYS * 86_400, path="/", httponly=True, samesite="lax"
        )
        return response

    def _same(self, sent: str) -> bool:
        return secrets.compare_digest(sent.encode(errors="replace"), self.token.encode())

    def _taken(self, sent: str) -> bool:
        if self._same(sent):
            return True
        if sent in self._used:
            log.warning("the address that the browser was started with was opened twice; the second was refused")
        until = self._codes.pop(sent, None)
        if until is None:
            return False
        self._used.add(sent)
        return self.clock() < until
