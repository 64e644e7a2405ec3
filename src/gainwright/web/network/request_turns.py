"""How many requests of another device are worked on at once: the threads that answer are those of the own machine, too."""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_OF_DEVICE, MOST_OF_NETWORK = 3, 12
"""Requests of a device, and of all of them, from the end of what is sent until the answer begins; the rest wait without a thread."""
BODILESS = ("GET", "HEAD")


@dataclass
class RequestTurns:
    """Gives the requests of paired devices their turns; what an answer sends afterwards, as events do for hours, takes none."""

    most_of_device: int = MOST_OF_DEVICE
    most: int = MOST_OF_NETWORK
    _of_device: dict[str, asyncio.Semaphore] = field(default_factory=dict)
    _of_all: asyncio.Semaphore | None = None
    _waiting: dict[str, int] = field(default_factory=dict)

    def of(self, device: str, app: ASGIApp) -> ASGIApp:
        """Return an app that answers in its turn."""

        async def in_turn(scope: Scope, receive: Receive, send: Send) -> None:
            if scope["type"] != "http":
                await app(scope, receive, send)
                return
            async with contextlib.AsyncExitStack() as turn:
                whole = scope["method"] in BODILESS
                if whole:
                    await turn.enter_async_context(self._turn(device))

                async def received() -> Message:
                    nonlocal whole
                    message = await receive()
                    if not whole and not message.get("more_body"):  # a slow upload keeps no other request waiting
                        whole = True
                        await turn.enter_async_context(self._turn(device))
                    return message

                async def sent(message: Message) -> None:
                    await turn.aclose()
                    await send(message)

                await app(scope, received, sent)

        return in_turn

    @contextlib.asynccontextmanager
    async def _turn(self, device: str) -> AsyncIterator[None]:
        mine = self._of_device.setdefault(device, asyncio.Semaphore(self.most_of_device))
        self._of_all = self._of_all or asyncio.Semaphore(self.most)
        self._waiting[device] = self._waiting.get(device, 0) + 1
        try:
            async with mine, self._of_all:
                yield
        finally:
            self._waiting[device] -= 1
            if not self._waiting[device]:
                del self._waiting[device], self._of_device[device]
