"""Running the app: a free port, what is printed, the browser, the end."""

from __future__ import annotations

import logging
import os
import socket
import threading
import webbrowser
from typing import TYPE_CHECKING

from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Callable


LOOPBACK = "127.0.0.1"
TRIED = 20


def serve(
    *, port: int, browser: bool, lan: bool, certificate: str, key: str, store: str, say: Callable[[str], None]
) -> None:
    """Serve until stopped.

    Raises
    ------
    CallError : no port is free, the store can't be opened, or a certificate can't be used.
    """
    # two linear-algebra threads in several requests at once slow each other down; read when numpy is first loaded
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    import uvicorn

    from gainwright.composition import compose
    from gainwright.web.server import create_app
    from gainwright.web.site import Site

    world = compose()
    site = Site(world, world.store(store or None), lan=lan)
    listening = listen(LOOPBACK, port)
    address = f"http://{LOOPBACK}:{listening.getsockname()[1]}/"
    logging.basicConfig(level=logging.WARNING)
    config = uvicorn.Config(create_app(site), log_level="warning", server_header=False, timeout_graceful_shutdown=3)
    say(f"Gainwright is at {address} (stop with Ctrl-C)")
    if browser:
        threading.Timer(0.5, webbrowser.open, (address,)).start()
    uvicorn.Server(config).run(sockets=[listening])


def listen(host: str, port: int) -> socket.socket:
    """Return a listening socket at a port, or at one of the next when it is in use.

    Raises
    ------
    CallError : none of them is free.
    """
    for tried in [0] if port == 0 else range(port, min(port + TRIED, 65536)):
        # named, since asyncio sends small answers at once only where it reads that it is TCP
        found = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            found.bind((host, tried))
        except OSError:
            found.close()
            continue
        found.listen(128)
        return found
    raise CallError(
        f"port {port} and the next {TRIED - 1} are in use", code="port_in_use", where="--port", remedy="name another"
    )
