"""Connections are counted before their TLS handshake: a crowd at the door keeps nobody out and fills no log."""

from __future__ import annotations

import asyncio
import logging
import socket
from typing import TYPE_CHECKING

from apart import run_apart

from gainwright.web.network.acceptor import Acceptor, ConnectionLimits
from gainwright.web.network.connection_limits import MOST_CONNECTIONS, limits_of_listeners
from gainwright.web.network.sparse_log import EACH, IN_S, Sparse

if TYPE_CHECKING:
    import pytest

LIMITS = ConnectionLimits(all=12, of_address=8, handshakes=6, handshakes_of_address=4)


class Echo(asyncio.Protocol):
    """Says hello."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Answer."""
        transport.write(b"hello")  # type: ignore[attr-defined]


def context() -> object:
    """Return a context of TLS in which no handshake can end, since nobody begins one."""
    import ssl

    return ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)


async def heard(line: socket.socket) -> bytes:
    """Return what comes first; nothing when it is closed, `waiting` when nothing comes for a while."""
    loop = asyncio.get_running_loop()
    try:
        return await asyncio.wait_for(loop.sock_recv(line, 10), 0.3)
    except TimeoutError:
        return b"waiting"
    except ConnectionError:
        return b""


def dialled(address: tuple[str, int], source: str) -> socket.socket:
    """Connect from an address."""
    line = socket.create_connection(address, timeout=5, source_address=(source, 0))
    line.setblocking(False)
    return line


async def crowd(tls: object, sources: list[str]) -> tuple[list[bytes], Acceptor, list[socket.socket]]:
    """Connect from some addresses, one after the other; return what each heard."""
    listening = socket.create_server(("127.0.0.1", 0))
    acceptor = Acceptor(listening, Echo, limits=LIMITS, context=tls)  # type: ignore[arg-type]
    lines = [dialled(listening.getsockname(), source) for source in sources]
    found = list(await asyncio.gather(*map(heard, lines)))
    return found, acceptor, [*lines, listening]


async def _end(acceptor: Acceptor, lines: list[socket.socket]) -> None:
    for line in lines:
        line.close()
    acceptor.close()
    await acceptor.wait_closed()
    await asyncio.sleep(0.02)
    assert not acceptor.counts.shaking
    assert not acceptor.counts.open


def test_connections_are_counted_by_address_and_together_until_they_close() -> None:
    """Eight from one address, twelve from all; a closed one makes room."""

    async def run() -> None:
        found, acceptor, lines = await crowd(None, ["127.0.0.1"] * 10 + ["127.0.0.3"] * 6)
        assert found == [b"hello"] * 8 + [b""] * 2 + [b"hello"] * 4 + [b""] * 2
        assert (acceptor.counts.open.total(), acceptor.counts.refused) == (12, 4)
        for line in lines[:8]:
            line.close()
        await asyncio.sleep(0.05)
        assert acceptor.counts.open == {"127.0.0.3": 4}
        lines.append(dialled(lines[-1].getsockname(), "127.0.0.1"))
        assert await heard(lines[-1]) == b"hello"
        await _end(acceptor, lines)

    run_apart(run())


def test_handshakes_are_counted_and_end_in_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four handshakes of one address and six of all wait, the rest is closed at once; those that say nothing are closed after a while."""

    async def run() -> None:
        found, acceptor, lines = await crowd(context(), ["127.0.0.1"] * 20 + ["127.0.0.3"] * 3)
        assert found == [b"waiting"] * 4 + [b""] * 16 + [b"waiting"] * 2 + [b""]
        assert (acceptor.counts.shaking.total(), acceptor.counts.open.total()) == (6, 6)
        assert await asyncio.wait_for(asyncio.get_running_loop().sock_recv(lines[0], 10), 5) == b""
        await asyncio.sleep(0.05)
        assert not acceptor.counts.open
        await _end(acceptor, lines)

    monkeypatch.setattr("gainwright.web.network.acceptor.HANDSHAKE_S", 0.6)
    run_apart(run())


def test_no_descriptor_left_is_a_pause_and_one_line(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """An error of the system doesn't end accepting."""

    async def run() -> None:
        loop = asyncio.get_running_loop()
        real, errors = loop.sock_accept, [OSError(24, "Too many open files")] * 3

        async def accept(listening: socket.socket) -> object:
            if errors:
                raise errors.pop()
            return await real(listening)

        monkeypatch.setattr(loop, "sock_accept", accept)
        found, acceptor, lines = await crowd(None, ["127.0.0.1"])
        assert found == [b"hello"]
        await _end(acceptor, lines)

    monkeypatch.setattr("gainwright.web.network.acceptor.PAUSE_S", 0.01)
    with caplog.at_level(logging.WARNING):
        run_apart(run())
    assert [record.getMessage() for record in caplog.records] == [
        "a connection can't be accepted: Too many open files"
    ] * 3


def test_neither_listener_can_take_all_descriptors(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the system allows few open files, there are fewer connections, and always some files for the rest."""
    for descriptors in (256, 1024, 4096):
        monkeypatch.setattr("gainwright.web.network.connection_limits._descriptors", lambda most=descriptors: most)
        own, lan = limits_of_listeners()
        assert own.all + lan.all <= descriptors - 128
        assert min(own.all, own.of_address) >= 64
        assert lan.of_address <= min(MOST_CONNECTIONS, lan.all // 2)


def test_log_lets_few_messages_of_a_kind_through() -> None:
    """Then how many were left out; other messages aren't held back."""
    now = 0.0
    sparse = Sparse(clock=lambda: now)

    def logged(text: str, *values: object) -> str | None:
        record = logging.LogRecord("asyncio", logging.ERROR, "", 0, text, values, None)
        return record.getMessage() if sparse.filter(record) else None

    crowd_of = [logged("fatal error %d", i) for i in range(1000)]
    assert [text for text in crowd_of if text] == [f"fatal error {i}" for i in range(EACH)]
    assert logged("something else") == "something else"
    now = IN_S
    assert logged("fatal error %d", 7) == f"fatal error 7 ({1000 - EACH} more like it were left out)"
    assert logged("fatal error %d", 8) == "fatal error 8"
