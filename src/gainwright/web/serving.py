"""Running the app: a listener for this machine, with --lan another for the network; what is printed; how it ends."""

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

    from gainwright.web.network.access import NetworkAccess
    from gainwright.web.network.lan_listener import LanListener
    from gainwright.web.site import Site

LOOPBACK_ADDRESS = "127.0.0.1"
PORTS_TRIED = 20
SHUTDOWN_S = 3
MOST_MESSAGE_BYTES = 2_000_000


@dataclass(frozen=True, slots=True)
class Options:
    """How the app is served.

    Attributes
    ----------
    port : to listen on; 0 for a free one.
    lan : let paired devices of the local network connect, at `address` if one is given.
    certificate, key : files of a TLS certificate for that; empty to have one made.
    music : folders that may be scanned.
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
    # several requests with several linear-algebra threads each slow each other down; read when numpy is first loaded
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from gainwright.app.cases.import_export import import_summary
    from gainwright.composition import compose
    from gainwright.web.network.access import NetworkAccess
    from gainwright.web.site import Site

    _check(options)
    world = compose()
    music = world.music_folders.roots(options.music)
    with contextlib.ExitStack() as opened:
        store = world.store(options.store or None, on_imported=lambda done: say(import_summary(done)))
        site = Site(world, store, network=NetworkAccess(lan=options.lan), where=options.store, music=music)
        opened.callback(site.close)
        loopback = opened.enter_context(listen(LOOPBACK_ADDRESS, options.port))
        port = loopback.getsockname()[1]
        network = None
        if options.lan:
            network = opened.enter_context(listen(options.address or "0.0.0.0", options.port and port + 1))  # noqa: S104
        lan = _lan_listener(site, options, network) if network else None
        logging.basicConfig(level=logging.WARNING)
        address = f"http://{LOOPBACK_ADDRESS}:{port}/"
        say(f"Gainwright is at {address} (stop with Ctrl-C)")
        if lan is not None:
            _print_pairing(site.network, say)
        if options.browser:
            threading.Timer(0.5, webbrowser.open, (address,)).start()
        asyncio.run(_run(site, loopback, lan, network))


def _check(options: Options) -> None:
    for option in ("address", "certificate", "key"):
        if getattr(options, option) and not options.lan:
            raise CallError("is for --lan only", code="lan_only", where=f"--{option}", remedy="add --lan")
    if options.key and not options.certificate:
        raise CallError("needs its certificate", code="no_certificate", where="--key", remedy="add --certificate FILE")


def _lan_listener(site: Site, options: Options, network: socket.socket) -> LanListener:
    from gainwright.web.network.lan_listener import LanListener

    port = network.getsockname()[1]
    lan = LanListener(site.network, port, options.address, options.certificate, options.key)
    lan.open()
    return lan


def _print_pairing(access: NetworkAccess, say: Callable[[str], None]) -> None:
    from gainwright.web.network.qr_code import as_text

    code = access.pairing.new_code()
    say(f"Other devices: {' or '.join(f'{address}/pair' for address in access.addresses)}")
    say(f"Pairing code: {code.shown} (valid for ten minutes and one device; more on the page System)")
    if drawn := as_text(access.pairing_address, encoding=sys.stderr.encoding):
        say(drawn)
    if access.fingerprint:
        say(f"A device trusts {access.addresses[0]}/certificate with the SHA-256 fingerprint\n{access.fingerprint}")


class _Listener:
    """Marks each request with the listener that accepted it."""

    def __init__(self, app: ASGIApp, listener: str) -> None:
        self.app, self.listener = app, listener

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        from gainwright.web.network.access import LISTENER

        scope[LISTENER] = self.listener
        await self.app(scope, receive, send)


async def _run(site: Site, loopback: socket.socket, lan: LanListener | None, network: socket.socket | None) -> None:
    from gainwright.web.network.access import LAN, LOOPBACK
    from gainwright.web.network.connection_limits import CountLimitedProtocol, TimeLimitedProtocol
    from gainwright.web.server import create_app

    app = create_app(site)
    servers = [(_server(_Listener(app, LOOPBACK), http=TimeLimitedProtocol), loopback)]
    following = None
    if lan is not None and network is not None:
        context = lan.context
        server = _server(_Listener(app, LAN), http=CountLimitedProtocol, ssl_context_factory=lambda *_: context)
        servers.append((server, network))
        following = asyncio.create_task(lan.follow_addresses())
    with _until_signalled([server for server, _ in servers]):
        async with asyncio.TaskGroup() as group:
            for server, listening in servers:
                group.create_task(server.serve(sockets=[listening]))
    if following is not None:
        following.cancel()


def _server(app: ASGIApp, **settings: Any) -> uvicorn.Server:
    import uvicorn

    class Quiet(uvicorn.Server):
        """Leaves signals to its caller: there may be two servers."""

        @contextlib.contextmanager
        def capture_signals(self) -> Iterator[None]:
            yield

    config = uvicorn.Config(
        app,
        log_level="error",
        access_log=False,
        server_header=False,
        proxy_headers=False,  # a client may not state its own address
        lifespan="off",  # the site is closed after both servers
        timeout_graceful_shutdown=SHUTDOWN_S,
        ws_max_size=MOST_MESSAGE_BYTES,
        **settings,
    )
    return Quiet(config)


@contextlib.contextmanager
def _until_signalled(servers: list[uvicorn.Server]) -> Iterator[None]:
    """End the servers at a signal; at the second signal without waiting for open requests."""

    def end(*_: object) -> None:
        for server in servers:
            server.force_exit = server.should_exit
            server.should_exit = True

    before = {number: signal.signal(number, end) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def listen(host: str, port: int) -> socket.socket:
    """Return a listening socket on a port, or on one of the next when it is in use.

    Raises
    ------
    CallError : none of them is free, or it isn't an address of this machine.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    reason = ""
    for tried in [0] if port == 0 else range(port, min(port + PORTS_TRIED, 65536)):
        # the protocol is stated, since asyncio sets TCP_NODELAY only when it is
        listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, tried))
        except OSError as error:
            listener.close()
            reason = error.strerror or str(error)
            continue
        listener.listen(128)
        return listener
    if host != LOOPBACK_ADDRESS:
        raise CallError(
            f"can't be listened on: {reason.lower()}",
            code="address_not_used",
            where=f"--address {host}",
            remedy="name an address of this machine and another --port",
        )
    raise CallError(
        f"port {port} and the next {PORTS_TRIED - 1} are in use",
        code="port_in_use",
        where="--port",
        remedy="name another",
    )
