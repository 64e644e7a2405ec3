"""Limits of connections: time until a request is complete, how many there may be."""

from __future__ import annotations

import contextlib
import sys
from typing import TYPE_CHECKING

from uvicorn.protocols.http.h11_impl import H11Protocol

from gainwright.web.network.acceptor import ConnectionLimits

if TYPE_CHECKING:
    import asyncio

    import h11
    from uvicorn.protocols.http.h11_impl import RequestResponseCycle

HEAD_S = 15.0
"""How long the head of a request may take, from its first byte or from connecting."""
MOST_CONNECTIONS = 64
"""Simultaneous connections of one address: a browser opens six, and several devices may share an address."""
MOST_OF_LISTENER = 256
RESERVED_DESCRIPTORS = 128
"""Open files that aren't connections: the store, children that decode, music being read."""
WANTED_DESCRIPTORS = 4096


def limits_of_listeners() -> tuple[ConnectionLimits, ConnectionLimits]:
    """Return the limits of the loopback listener and of that for the network; neither can take the descriptors of the other.

    Where the system has few (256 on macOS), more are asked for first.
    """
    most = min(MOST_OF_LISTENER, (_descriptors() - RESERVED_DESCRIPTORS) // 2)
    return ConnectionLimits(most, most), ConnectionLimits(most, min(MOST_CONNECTIONS, most // 2))


def _descriptors() -> int:
    """Return how many files may be open at once, after asking for enough."""
    if sys.platform == "win32":  # it has no such limit
        return WANTED_DESCRIPTORS
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = WANTED_DESCRIPTORS if hard == resource.RLIM_INFINITY else min(WANTED_DESCRIPTORS, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
            soft = wanted
    return WANTED_DESCRIPTORS if soft == resource.RLIM_INFINITY else soft


class TimeLimitedProtocol(H11Protocol):
    """HTTP/1.1 that closes a connection whose request isn't complete in time."""

    _timeout: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Start the timeout."""
        super().connection_made(transport)
        self._start_timeout()

    def handle_events(self) -> None:
        """Read what came; end the timeout once a request is being answered."""
        super().handle_events()
        if self._answering():
            self._end_timeout()

    def handle_websocket_upgrade(self, event: h11.Request) -> None:
        """Hand over to the WebSocket protocol, which has timeouts of its own."""
        self._end_timeout()
        super().handle_websocket_upgrade(event)

    def on_response_complete(self) -> None:
        """Start the timeout of the next request."""
        super().on_response_complete()
        if not self.transport.is_closing():
            self._start_timeout()

    def connection_lost(self, exc: Exception | None) -> None:
        """End the timeout."""
        self._end_timeout()
        super().connection_lost(exc)

    def _start_timeout(self) -> None:
        self._end_timeout()
        self._timeout = self.loop.call_later(HEAD_S, self._timed_out)

    def _end_timeout(self) -> None:
        if self._timeout is not None:
            self._timeout.cancel()
            self._timeout = None

    def _timed_out(self) -> None:
        if not self._answering():
            self.transport.abort()

    def _answering(self) -> bool:
        cycle: RequestResponseCycle | None = self.cycle  # none before the first request
        return cycle is not None and not cycle.response_complete
