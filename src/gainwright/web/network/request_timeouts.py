"""Connections that bring no request in time, or come in masses from one address, are closed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from uvicorn.protocols.http.h11_impl import H11Protocol

if TYPE_CHECKING:
    import asyncio

    import h11
    from uvicorn.protocols.http.h11_impl import RequestResponseCycle

HEAD_S = 15.0
"""How long the head of a request may take from its first byte, or from connecting."""
MOST_CONNECTIONS = 64
"""Of one address at once: a browser opens six, and some tabs and devices may share one address."""


class ImpatientProtocol(H11Protocol):
    """HTTP/1.1 that waits for a request only so long."""

    _waiting: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait."""
        super().connection_made(transport)
        self._wait()

    def handle_events(self) -> None:
        """Read what came; a request that has begun is waited for no more."""
        super().handle_events()
        if self._answering():
            self._wait_no_more()

    def handle_websocket_upgrade(self, event: h11.Request) -> None:
        """Hand over to the protocol of WebSockets, which has times of its own."""
        self._wait_no_more()
        super().handle_websocket_upgrade(event)

    def on_response_complete(self) -> None:
        """Begin to wait for the next request."""
        super().on_response_complete()
        if not self.transport.is_closing():
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait for nothing."""
        self._wait_no_more()
        super().connection_lost(exc)

    def _wait(self) -> None:
        self._wait_no_more()
        self._waiting = self.loop.call_later(HEAD_S, self._give_up)

    def _wait_no_more(self) -> None:
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None

    def _give_up(self) -> None:
        if not self._answering():
            self.transport.abort()

    def _answering(self) -> bool:
        cycle: RequestResponseCycle | None = self.cycle  # none before the first request
        return cycle is not None and not cycle.response_complete


class CrowdedProtocol(ImpatientProtocol):
    """The same for the local network: turns away whoever has too many connections."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait, or turn away."""
        super().connection_made(transport)
        peers = [getattr(other, "client", None) for other in self.connections]
        if sum(1 for peer in peers if peer and self.client and peer[0] == self.client[0]) > MOST_CONNECTIONS:
            transport.abort()
