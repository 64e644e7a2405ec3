"""Who is connected from the local network: what a device has open can be cut off, and strangers can't fill the house."""

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

MOST_OF_ONE_STRANGER = 6
"""Requests at once from one address that isn't paired; a browser opens six connections."""
MOST_STRANGERS = 40
MARK = "gainwright.request"
"""Key of a request's scope: what it is known by here."""
CUT_OFF = 1008
"""Close code of a WebSocket: against the rules (RFC 6455 section 7.4.1)."""


@dataclass
class Crowd:
    """Requests at once from whoever isn't paired."""

    _here: Counter[str] = field(default_factory=Counter)

    def enter(self, address: str) -> bool:
        """Count one in, unless there are too many."""
        if self._here[address] >= MOST_OF_ONE_STRANGER or self._here.total() >= MOST_STRANGERS:
            return False
        self._here[address] += 1
        return True

    def leave(self, address: str) -> None:
        """Count one out."""
        self._here[address] -= 1
        if self._here[address] <= 0:
            del self._here[address]


@dataclass
class Connections:
    """Open requests and WebSockets of each paired device."""

    _open: dict[str, set[Callable[[], None]]] = field(default_factory=dict)
    _cut: set[str] = field(default_factory=set)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def cut(self, device: str, *, but: object = None) -> int:
        """End all that a device has open, but for one request by its mark, from any thread; return how many."""
        with self._lock:
            self._cut.add(device)
            ends = [end for end in self._open.get(device, ()) if end is not but]
        for end in ends:
            end()
        return len(ends)

    def here(self) -> set[str]:
        """Return the devices that have something open."""
        with self._lock:
            return set(self._open)

    async def run(self, device: str, app: ASGIApp, scope: Scope, receive: Receive, send: Send) -> None:
        """Run a request of a device until it ends, or the device is cut off."""
        answer = _Answer(send)
        running = asyncio.ensure_future(_awaited(app, scope, receive, answer.send))
        loop = asyncio.get_running_loop()
        off = False

        def end() -> None:
            nonlocal off
            off = True
            with contextlib.suppress(RuntimeError):  # the program is ending
                loop.call_soon_threadsafe(running.cancel)

        scope[MARK] = end
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
        if too_late:  # it was put out after it had been looked up
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
    """An answer on its way, so that it can be ended properly wherever it is."""

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
                await self._send({"type": "websocket.close", "code": CUT_OFF, "reason": "this device was put out"})
            elif not self._begun:
                await self._send({"type": "http.response.start", "status": 401, "headers": []})
                await self._send({"type": "http.response.body", "body": b""})
            elif not self._ended:
                await self._send({"type": "http.response.body", "body": b"", "more_body": False})
