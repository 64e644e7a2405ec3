"""Running the app: a door for this machine, with --lan another for the network; what is printed, the browser, the end."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import signal
import socket
import sys
import threading
import webbrowser
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import uvicorn
    from starlette.types import ASGIApp, Receive, Scope, Send

    from gainwright.web.network.lan import Lan
    from gainwright.web.site import Site

LOOPBACK = "127.0.0.1"
TRIED = 20
END_S = 3
MOST_MESSAGE_BYTES = 2_000_000


@dataclass(frozen=True, slots=True)
class Options:
    """How the app is served.

    Attributes
    ----------
    lan : let paired devices of the local network in, at `address` if one is named.
    music : folders that may be scanned.
    certificate, key : files of a TLS certificate for that; empty to have one made.
    """

    port: int = 0
    browser: bool = False
    lan: bool = False
    address: str = ""
    certificate: str = ""
    key: str = ""
    store: str = ""
    music: tuple[str, ...] = ()


def serve(options: Options, say: Callable[[str], None]) -> None:
    """Serve until stopped.

    Raises
    ------
    CallError : no port is free, the store can't be opened, or a certificate can't be used.
    """
    # two linear-algebra threads in several requests at once slow each other down; read when numpy is first loaded
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from gainwright.app.cases.importing import imported_words
    from gainwright.composition import compose
    from gainwright.web.site import Site

    _check(options)
    world = compose()
    music = world.music_folders.roots(options.music)
    with contextlib.ExitStack() as opened:
        store = world.store(options.store or None, on_imported=lambda done: say(imported_words(done)))
        site = Site(world, store, lan=options.lan, where=options.store, music=music)
        opened.callback(site.close)
        own = opened.enter_context(listen(LOOPBACK, options.port))
        port = own.getsockname()[1]
        network = None
        if options.lan:
            network = opened.enter_context(listen(options.address or "0.0.0.0", options.port and port + 1))  # noqa: S104
        lan = _open_lan(site, options, network) if network else None
        logging.basicConfig(level=logging.WARNING)
        address = f"http://{LOOPBACK}:{port}/"
        say(f"Gainwright is at {address} (stop with Ctrl-C)")
        if lan is not None:
            _tell_entrance(site, say)
        if options.browser:
            threading.Timer(0.5, webbrowser.open, (address,)).start()
        asyncio.run(_run(site, own, lan, network))


def _check(options: Options) -> None:
    for option in ("address", "certificate", "key"):
        if getattr(options, option) and not options.lan:
            raise CallError("is for --lan only", code="lan_only", where=f"--{option}", remedy="add --lan")
    if options.key and not options.certificate:
        raise CallError("needs its certificate", code="no_certificate", where="--key", remedy="add --certificate FILE")


def _open_lan(site: Site, options: Options, network: socket.socket) -> Lan:
    from gainwright.web.network.lan import Lan

    port = network.getsockname()[1]
    lan = Lan(site, port, options.address, options.certificate, options.key)
    lan.open()
    return lan


def _tell_entrance(site: Site, say: Callable[[str], None]) -> None:
    from gainwright.web.network.qr_code import as_text

    entrance = site.entrance
    code = entrance.pairing.new_code()
    say(f"Other devices: {' or '.join(f'{address}/pair' for address in entrance.addresses)}")
    say(f"Pairing code: {code.shown} (good for ten minutes and one device; more on the page This bench)")
    if drawn := as_text(entrance.pairing_address, encoding=sys.stderr.encoding):
        say(drawn)
    if entrance.fingerprint:
        say(f"A device trusts {entrance.addresses[0]}/certificate with the SHA-256 fingerprint\n{entrance.fingerprint}")


class _Door:
    """Marks each request with the door that it came through."""

    def __init__(self, app: ASGIApp, door: str) -> None:
        self.app, self.door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        from gainwright.web.network.access import DOOR

        scope[DOOR] = self.door
        await self.app(scope, receive, send)


async def _run(site: Site, own: socket.socket, lan: Lan | None, network: socket.socket | None) -> None:
    from gainwright.web.network.access import LAN_DOOR, OWN_DOOR
    from gainwright.web.network.request_timeouts import CrowdedProtocol, ImpatientProtocol
    from gainwright.web.server import create_app

    app = create_app(site)
    servers = [(_server(_Door(app, OWN_DOOR), http=ImpatientProtocol), own)]
    following = None
    if lan is not None and network is not None:
        context = lan.context
        door = _server(_Door(app, LAN_DOOR), http=CrowdedProtocol, ssl_context_factory=lambda *_: context)
        servers.append((door, network))
        following = asyncio.create_task(lan.look_again())
    with _until_told([server for server, _ in servers]):
        async with asyncio.TaskGroup() as group:
            for server, listening in servers:
                group.create_task(server.serve(sockets=[listening]))
    if following is not None:
        following.cancel()


def _server(app: ASGIApp, **settings: Any) -> uvicorn.Server:
    import uvicorn

    class Quiet(uvicorn.Server):
        """Leaves signals to whoever runs it: there may be two."""

        @contextlib.contextmanager
        def capture_signals(self) -> Iterator[None]:
            yield

    config = uvicorn.Config(
        app,
        log_level="error",
        access_log=False,
        server_header=False,
        proxy_headers=False,  # nobody may say for himself where he comes from
        lifespan="off",  # the site is closed when both doors are shut
        timeout_graceful_shutdown=END_S,
        ws_max_size=MOST_MESSAGE_BYTES,
        **settings,
    )
    return Quiet(config)


@contextlib.contextmanager
def _until_told(servers: list[uvicorn.Server]) -> Iterator[None]:
    """Let the servers end when a person or the system says so; at the second time at once."""

    def told(*_: object) -> None:
        for server in servers:
            server.force_exit = server.should_exit
            server.should_exit = True

    before = {number: signal.signal(number, told) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def listen(host: str, port: int) -> socket.socket:
    """Return a listening socket at a port, or at one of the next when it is in use.

    Raises
    ------
    CallError : none of them is free, or the machine hasn't this address.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    reason = ""
    for tried in [0] if port == 0 else range(port, min(port + TRIED, 65536)):
        # named, since asyncio sends small answers at once only where it reads that it is TCP
        found = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            found.bind((host, tried))
        except OSError as error:
            found.close()
            reason = error.strerror or str(error)
            continue
        found.listen(128)
        return found
    if host != LOOPBACK:
        raise CallError(
            f"can't be listened at: {reason.lower()}",
            code="address_not_used",
            where=f"--address {host}",
            remedy="name an address of this machine and another --port",
        )
    raise CallError(
        f"port {port} and the next {TRIED - 1} are in use", code="port_in_use", where="--port", remedy="name another"
    )
