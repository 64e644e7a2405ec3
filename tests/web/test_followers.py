"""Many pages follow one piece of work: no thread waits for them, and all other requests are answered meanwhile."""

from __future__ import annotations

import contextlib
import socket
import threading
from typing import TYPE_CHECKING

import httpx
import uvicorn

from gainwright.composition import compose
from gainwright.web.server import create_app
from gainwright.web.site import Site

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from gainwright.web.background import Work

FOLLOWERS = 100


@contextlib.contextmanager
def served(site: Site) -> Iterator[tuple[str, int]]:
    """Serve a site on a thread of this process; yield where."""
    server = uvicorn.Server(uvicorn.Config(create_app(site), lifespan="off", log_level="critical", ws="none"))
    listening = socket.create_server(("127.0.0.1", 0), backlog=2 * FOLLOWERS)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        yield listening.getsockname()
    finally:
        server.should_exit = True
        thread.join(20)
        listening.close()
        site.close()


def read_until(line: socket.socket, state: bytes) -> None:
    """Read until a state of the work came."""
    came = b""
    while state not in came:
        piece = line.recv(4096)
        assert piece, came
        came += piece


def test_hundred_followers_hold_no_thread_and_block_nobody(tmp_path: Path) -> None:
    """Each sees the work begin and end; meanwhile a page is answered, and no thread was added for any of them."""
    world = compose()
    site = Site(world, world.store(str(tmp_path / "store.sqlite")))
    end = threading.Event()

    def wait(_work: Work) -> None:
        end.wait(120)

    work = site.background.start("long", wait, back="/")
    with served(site) as (host, port), httpx.Client(base_url=f"http://{host}:{port}", timeout=10) as client:
        assert client.get("/api/jobs").status_code == 200
        before = threading.active_count()
        asked = f"GET /api/work/{work.id}/events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode()
        with contextlib.ExitStack() as lines:
            lines.callback(end.set)
            followers = []
            for _ in range(FOLLOWERS):
                line = lines.enter_context(socket.create_connection((host, port), timeout=10))
                line.sendall(asked)
                followers.append(line)
            for line in followers:
                read_until(line, b'"running"')
            assert client.get("/api/jobs").status_code == 200
            assert threading.active_count() - before <= 2
            end.set()
            for line in followers:
                read_until(line, b'"done"')
