"""Requests from the local network: those of a paired device can be ended, those of unpaired devices are limited."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections import Counter
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_UNPAIRED_OF_ADDRESS = 6
"""Simultaneous requests of an unpaired device's address; a browser opens six connections."""
MOST_UNPAIRED = 40
REQUEST_ID = "gainwright.request"
"""Key of a request's scope with its identity."""
POLICY_VIOLATION = 1008
"""Close code of a WebSocket (RFC 6455 section 7.4.1)."""


@dataclass
class UnpairedRequests:
    """Counts the simultaneous requests of unpaired devices."""

    _open: Counter[str] = field(default_factory=Counter)

    def add(self, address: str) -> bool:
        """Count a request unless there are too many; return whether it was counted."""
        if self._open[address] >= MOST_UNPAIRED_OF_ADDRESS or self._open.total() >= MOST_UNPAIRED:
            return False
        self._open[address] += 1
        return True

    def remove(self, address: str) -> None:
        """A request has ended."""
        self._open[address] -= 1
        if self._open[address] <= 0:
            del self._open[address]


@dataclass
class Connections:
    """Open requests and WebSockets of each paired device."""

    _open: dict[str, set[Callable[[], None]]] = field(default_factory=dict)
    _cut: set[str] = field(default_factory=set)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def cut(self, device: str, *, but: object = None) -> int:
        """End all open requests of a device except one, from any thread; return how many."""
        with self._lock:
            self._cut.add(device)
            ends = [end for end in self._open.get(device, ()) if end is not but]
        for end in ends:
            end()
        return len(ends)

    def devices(self) -> set[str]:
        """Return the devices with open requests."""
        with self._lock:
            return set(self._open)

    async def run(self, device: str, app: ASGIApp, scope: Scope, receive: Receive, send: Send) -> None:
        """Run a request of a device until it ends or the device's access is revoked."""
        answer = _Answer(send)
        running = asyncio.ensure_future(_awaited(app, scope, receive, answer.send))
        loop = asyncio.get_running_loop()
        off = False

        def end() -> None:
            nonlocal off
            off = True
            with contextlib.suppress(RuntimeError):  # the program is ending
                loop.call_soon_threadsafe(running.cancel)

        scope[REQUEST_ID] = end
        with self._held(device, end):
            try:
                await running
            except asyncio.CancelledError:
                if not off:
                    raise
                await answer.close(scope)

    @contextmanager
    def _held(self, device: str, end: Callable[[], None]) -> Iterator[None]:
        with self._lock:
            self._open.setdefault(device, set()).add(end)
            too_late = device in self._cut
        if too_late:  # its access was revoked after it had been looked up
            end()
        try:
            yield
        finally:
            with self._lock:
                self._open[device].discard(end)
                if not self._open[device]:
                    del self._open[device]


async def _awaited(app: ASGIApp, scope: Scope, receive: Receive, send: Send) -> None:
    await app(scope, receive, send)


class _Answer:
    """An answer being sent, which can be ended properly at any point."""

    def __init__(self, send: Send) -> None:
        self._send, self._begun, self._ended = send, False, False

    async def send(self, message: Message) -> None:
        self._begun = self._begun or message["type"] in ("http.response.start", "websocket.accept")
        self._ended = self._ended or (message["type"] == "http.response.body" and not message.get("more_body"))
        await self._send(message)

    async def close(self, scope: Scope) -> None:
        # an answer of a stated length can't be ended early; the server then closes the connection itself
        with contextlib.suppress(RuntimeError, OSError):
            if scope["type"] == "websocket":
                await self._send(
                    {"type": "websocket.close", "code": POLICY_VIOLATION, "reason": "this device's access was revoked"}
                )
            elif not self._begun:
                await self._send({"type": "http.response.start", "status": 401, "headers": []})
                await self._send({"type": "http.response.body", "body": b""})
            elif not self._ended:
                await self._send({"type": "http.response.body", "body": b"", "more_body": False})
