"""Accepting connections: counted before their TLS handshake, which has a time limit; refusing a flood of them costs next to nothing."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
import struct
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gainwright.web.network.pairing import address_group

if TYPE_CHECKING:
    import ssl
    from collections.abc import Callable

HANDSHAKE_S = 8.0
"""How long a TLS handshake may take: a phone takes less than a second, on a bad link a few."""
PAUSE_S = 0.2
"""Pause after an error of the system, such as no descriptor left."""
RESET = struct.pack("ii", 1, 0)
"""SO_LINGER that drops a connection at once, without the state in which it would wait for a minute."""

log = logging.getLogger("gainwright.web")


@dataclass(frozen=True, slots=True)
class ConnectionLimits:
    """Simultaneous connections of one listener.

    Attributes
    ----------
    all : of all addresses together.
    of_address : of one address; an IPv6 network of one site counts as one.
    handshakes, handshakes_of_address : of them, those whose TLS handshake isn't done.
    """

    all: int
    of_address: int
    handshakes: int = 64
    handshakes_of_address: int = 16


class CountedSocket(socket.socket):
    """A socket that says when it is closed."""

    closed: Callable[[], None] | None = None

    def close(self) -> None:
        """Close it."""
        super().close()
        closed, self.closed = self.closed, None
        if closed is not None:
            closed()


@dataclass
class Counts:
    """Connections by address, open and in their handshake."""

    limits: ConnectionLimits
    open: Counter[str] = field(default_factory=Counter)
    shaking: Counter[str] = field(default_factory=Counter)
    refused: int = 0

    def room(self, group: str, *, tls: bool) -> bool:
        """Return whether one more connection of an address is accepted."""
        limits = self.limits
        room = self.open.total() < limits.all and self.open[group] < limits.of_address
        if tls:
            room = room and self.shaking.total() < limits.handshakes
            room = room and self.shaking[group] < limits.handshakes_of_address
        self.refused += not room
        return room

    @staticmethod
    def discount(counter: Counter[str], group: str) -> None:
        """Count one connection less."""
        counter[group] -= 1
        if counter[group] <= 0:
            del counter[group]


class Acceptor:
    """Accepts connections of a listening socket, one in each turn of the event loop, so that those that are open are served meanwhile."""

    def __init__(
        self,
        listening: socket.socket,
        make: Callable[[], asyncio.Protocol],
        *,
        limits: ConnectionLimits,
        context: ssl.SSLContext | None = None,
    ) -> None:
        self._listening, self._make, self._context = listening, make, context
        self.counts = Counts(limits)
        self._handing: set[asyncio.Task[None]] = set()
        listening.setblocking(False)
        self._task = asyncio.ensure_future(self._accept())

    def close(self) -> None:
        """Accept no more; handshakes that aren't done are given up."""
        for task in (self._task, *self._handing):
            task.cancel()

    async def wait_closed(self) -> None:
        """Wait until nothing is accepted any more."""
        await asyncio.gather(self._task, *self._handing, return_exceptions=True)

    async def _accept(self) -> None:
        loop = asyncio.get_running_loop()
        while True:
            try:
                connection, address = await loop.sock_accept(self._listening)
            except OSError as error:
                log.warning("a connection can't be accepted: %s", error.strerror)
                await asyncio.sleep(PAUSE_S)
                continue
            self._take(connection, address_group(address[0]))
            await asyncio.sleep(0)  # otherwise a flood of connections would keep the loop to itself

    def _take(self, connection: socket.socket, group: str) -> None:
        counts, tls = self.counts, self._context is not None
        if not counts.room(group, tls=tls):
            with contextlib.suppress(OSError):
                connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET)
            connection.close()
            return
        counted = CountedSocket(connection.family, connection.type, connection.proto, fileno=connection.detach())
        counted.setblocking(False)
        counts.open[group] += 1
        counted.closed = lambda: counts.discount(counts.open, group)
        task = asyncio.ensure_future(self._hand_over(counted, group))
        self._handing.add(task)
        task.add_done_callback(self._handing.discard)

    async def _hand_over(self, connection: CountedSocket, group: str) -> None:
        loop, context = asyncio.get_running_loop(), self._context
        if context is None:
            await loop.connect_accepted_socket(self._make, connection)
            return
        self.counts.shaking[group] += 1
        try:
            await loop.connect_accepted_socket(self._make, connection, ssl=context, ssl_handshake_timeout=HANDSHAKE_S)
        except OSError:  # ssl.SSLError and a time limit too: whoever it was isn't a browser, or has gone
            connection.close()
        finally:
            self.counts.discount(self.counts.shaking, group)
