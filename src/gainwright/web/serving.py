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

    from gainwright.web.network.acceptor import ConnectionLimits
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
    from gainwright.adapters.own_token import own_token
    from gainwright.app.cases.import_export import import_summary
    from gainwright.composition import compose
    from gainwright.web.music.added_folders import use_added
    from gainwright.web.network.access import NetworkAccess
    from gainwright.web.network.own_browser import OwnBrowser
    from gainwright.web.network.sparse_log import Sparse
    from gainwright.web.site import Site

    _check(options)
    world = compose()
    music = world.music_folders.roots(options.music)
    with contextlib.ExitStack() as opened:
        store = world.store(options.store or None, on_imported=lambda done: say(import_summary(done)))
        site = Site(world, store, network=NetworkAccess(lan=options.lan), where=options.store, music=music)
        opened.callback(site.close)
        use_added(site)
        loopback = opened.enter_context(listen(LOOPBACK_ADDRESS, options.port))
        port = loopback.getsockname()[1]
        servers = Servers(site, options, loopback)
        if options.lan:
            servers.open_lan()
        logging.basicConfig(level=logging.WARNING)
        for handler in logging.getLogger().handlers:
            handler.addFilter(Sparse())
        address = f"http://{LOOPBACK_ADDRESS}:{port}/"
        own = site.network.own = OwnBrowser(own_token(), port)
        say(f"Gainwright is at {own.address(address)} (stop with Ctrl-C)")
        if options.lan:
            _print_pairing(site.network, say)
        if options.browser:
            threading.Timer(0.5, webbrowser.open, (own.opening_address(address),)).start()
        asyncio.run(servers.run())


def _check(options: Options) -> None:
    for option in ("address", "certificate", "key"):
        if getattr(options, option) and not options.lan:
            raise CallError("is for --lan only", code="lan_only", where=f"--{option}", remedy="add --lan")
    if options.key and not options.certificate:
        raise CallError("needs its certificate", code="no_certificate", where="--key", remedy="add --certificate FILE")


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


class Servers:
    """The listener of this machine and, when it is wanted, the one for the local network; both serve one app."""

    def __init__(self, site: Site, options: Options, loopback: socket.socket) -> None:
        from gainwright.web.server import create_app

        self.site, self.options, self.loopback = site, options, loopback
        self.app = create_app(site)
        self.servers: list[uvicorn.Server] = []
        self._changing = threading.Lock()
        self._lan: tuple[LanListener, socket.socket] | None = None
        self._serve: Callable[[], None] | None = None
        site.open_lan = self.open_lan

    def open_lan(self) -> None:
        """Let paired devices of the local network connect, from now until the program ends.

        Raises
        ------
        CallError : no port is free, this computer is in no network, or its certificate can't be used.
        """
        from gainwright.web.network.lan_listener import LanListener

        options, port = self.options, self.loopback.getsockname()[1]
        with self._changing:
            if self._lan is not None:
                return
            network = listen(options.address or "0.0.0.0", options.port and port + 1)  # noqa: S104
            try:
                lan = LanListener(
                    self.site.network, network.getsockname()[1], options.address, options.certificate, options.key
                )
                lan.open()
            except BaseException:
                network.close()
                raise
            self._lan = (lan, network)
            self.site.network.lan = True
            if self._serve is not None:
                self._serve()

    async def run(self) -> None:
        """Serve until a signal ends it."""
        from gainwright.web.network.access import LOOPBACK
        from gainwright.web.network.connection_limits import limits_of_listeners

        loop = asyncio.get_running_loop()
        following: list[asyncio.Task[None]] = []
        self.servers.append(_server(_Listener(self.app, LOOPBACK), limits_of_listeners()[0]))
        try:
            with _until_signalled(self.servers):
                async with asyncio.TaskGroup() as group:

                    def serve_lan() -> None:
                        loop.call_soon_threadsafe(lambda: following.append(self._serve_lan(group)))

                    with self._changing:
                        self._serve = serve_lan
                        if self._lan is not None:
                            serve_lan()
                    await self.servers[0].serve(sockets=[self.loopback])
        finally:
            for task in following:
                task.cancel()
            if self._lan is not None:
                self._lan[1].close()

    def _serve_lan(self, group: asyncio.TaskGroup) -> asyncio.Task[None]:
        from gainwright.web.network.access import LAN
        from gainwright.web.network.connection_limits import limits_of_listeners

        assert self._lan is not None  # noqa: S101  it was opened
        lan, network = self._lan
        context = lan.context
        server = _server(_Listener(self.app, LAN), limits_of_listeners()[1], ssl_context_factory=lambda *_: context)
        self.servers.append(server)
        group.create_task(server.serve(sockets=[network]))
        return asyncio.create_task(lan.follow_addresses())


def _server(app: ASGIApp, limits: ConnectionLimits, **settings: Any) -> uvicorn.Server:
    import uvicorn

    from gainwright.web.network.acceptor import Acceptor
    from gainwright.web.network.connection_limits import TimeLimitedProtocol

    class Quiet(uvicorn.Server):
        """Leaves signals to its caller, since there may be two servers, and accepting to an `Acceptor`."""

        @contextlib.contextmanager
        def capture_signals(self) -> Iterator[None]:
            yield

        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await self.lifespan.startup()
            config, state = self.config, self.server_state

            def made() -> TimeLimitedProtocol:
                return TimeLimitedProtocol(config=config, server_state=state, app_state=self.lifespan.state)

            acceptors = [Acceptor(one, made, limits=limits, context=config.ssl) for one in sockets or []]
            self.servers = acceptors  # type: ignore[assignment]
            self.started = True

    config = uvicorn.Config(
        app,
        log_level="error",
        access_log=False,
        log_config=None,  # its messages go where ours do
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


def _sharing() -> int:
    """Return the option of a listener that a port of a server that has just ended can be had again, and of a running one never.

    On Windows `SO_REUSEADDR` would give the port of a running server to a second one.
    """
    if sys.platform == "win32":
        return socket.SO_EXCLUSIVEADDRUSE
    return socket.SO_REUSEADDR


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
        listener.setsockopt(socket.SOL_SOCKET, _sharing(), 1)
        try:
            listener.bind((host, tried))
        except OSError as error:
            listener.close()
            reason = error.strerror or str(error)
            continue
        listener.listen(1024)
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
