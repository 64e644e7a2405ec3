"""Access from the local network: `serve --lan` over TLS, devices paired, named and revoked; also in a browser."""

from __future__ import annotations

import asyncio
import contextlib
import os
import re
import sqlite3
import ssl
import subprocess
import threading
import time
from typing import TYPE_CHECKING, Any

import httpx
import pytest
import uvicorn
from apart import run_apart
from attack_crowds import flood
from browser_acts import CHROMIUM, OTHER_SIZE_AND_WAY, click, until
from commands import run
from PIL import Image
from playwright.sync_api import Error
from starlette.testclient import TestClient
from starlette.websockets import WebSocket, WebSocketDisconnect
from web_server import WebServer

from gainwright.composition import compose
from gainwright.errors import CallError
from gainwright.web import Site, create_app, serving
from gainwright.web.network.acceptor import ConnectionLimits
from gainwright.web.network.access import LAN, LISTENER, NetworkAccess
from gainwright.web.network.connections import MOST_UNPAIRED_OF_ADDRESS, Connections, UnpairedRequests
from gainwright.web.network.pairing import COOKIE, digest_of
from gainwright.web.network.qr_code import as_text

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page
    from warm_program import WarmProgram

ADDRESS = "127.0.0.2"
"""Stands for an address of the network: requests to it reach the LAN listener."""


@pytest.fixture(scope="module")
def lan_server(tmp_path_factory: pytest.TempPathFactory, program: WarmProgram) -> Iterator[WebServer]:
    """A server with both listeners."""
    running = WebServer(tmp_path_factory.mktemp("lan"), ("--lan", "--address", ADDRESS), program=program).start()
    yield running
    running.stop()


@pytest.fixture
def own(lan_server: WebServer) -> Iterator[httpx.Client]:
    """A client on the machine itself."""
    with lan_server.client() as client:
        yield client


@pytest.fixture
def lan_address(own: httpx.Client) -> str:
    """The address of the LAN listener."""
    return str(own.get("/api/bench").json()["addresses"][0])


@pytest.fixture
def trusting(own: httpx.Client) -> ssl.SSLContext:
    """A client's TLS context that trusts only the machine's own authority."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.verify_flags |= ssl.VERIFY_X509_STRICT
    context.load_verify_locations(cadata=own.get("/certificate").content)
    return context


@pytest.fixture
def phone(lan_address: str, trusting: ssl.SSLContext) -> Iterator[httpx.Client]:
    """A device of the network that isn't paired yet."""
    with httpx.Client(base_url=lan_address, verify=trusting, timeout=30) as client:
        yield client


def new_code(own: httpx.Client) -> str:
    """Have a code made on the machine itself."""
    return str(own.post("/api/bench/code").json()["digits"])


def pair(own: httpx.Client, device: httpx.Client, name: str) -> str:
    """Pair a device; return its token."""
    done = _paired(own, device, name)
    assert done.status_code == 303, done.text
    return device.cookies[COOKIE]


def _paired(own: httpx.Client, device: httpx.Client, name: str) -> httpx.Response:
    """Pair a device; where another test gave wrong codes before, wait as a person must."""
    for _ in range(60):
        done = device.post("/pair", data={"code": new_code(own), "name": name})
        if done.status_code != 429:
            break
        time.sleep(0.5)
    return done


def device_id(own: httpx.Client, name: str) -> str:
    """Return the id of a device."""
    return next(str(d["id"]) for d in own.get("/api/bench/devices").json() if d["name"] == name)


# ---- over a real server ----------------------------------------------------------------------------------------


def test_start_prints_address_code_qr_code_and_fingerprint(lan_server: WebServer, own: httpx.Client) -> None:
    """What a user needs: the address, the code, a QR code for a camera, and which certificate to trust."""
    said = "\n".join(lan_server.said)
    assert re.search(rf"https://{re.escape(ADDRESS)}:\d+/pair", said)
    assert re.search(r"Pairing code: \d{4} \d{4} ", said)
    assert len([line for line in lan_server.said if "█" in line]) > 12
    assert own.get("/api/bench").json()["fingerprint"] in said
    assert len(own.get("/api/bench").json()["fingerprint"].split(":")) == 32


def test_unpaired_devices_have_no_access(phone: httpx.Client) -> None:
    """Pages lead to pairing, data and changes are refused; what pairing needs is available."""
    for path in ("/", "/jobs/x", "/bench", "/cases", "/nothing"):
        led = phone.get(path)
        assert (led.status_code, led.headers["location"]) == (303, "/pair")
    for method, path in (
        ("GET", "/api/jobs"),
        ("GET", "/api/openapi.json"),
        ("GET", "/api/bench"),
        ("POST", "/jobs/new"),
        ("POST", "/api/bench/code"),
        ("PUT", "/x"),
    ):
        refused = phone.request(method, path)
        assert refused.status_code == 401, path
    for path in ("/pair", "/static/sheet.css", "/certificate"):
        assert phone.get(path).status_code == 200
    assert ">System<" not in phone.get("/pair").text.split("<main")[0]


def test_own_machine_needs_no_pairing_and_other_names_are_refused(own: httpx.Client, phone: httpx.Client) -> None:
    """Each listener answers to its own host names only."""
    assert own.get("/").status_code == 200
    assert own.get("/pair").headers["location"] == "/bench"
    assert own.get("/", headers={"host": ADDRESS}).status_code == 421
    assert phone.get("/pair", headers={"host": "evil.test"}).status_code == 421
    assert phone.get("/pair", headers={"host": "localhost"}).status_code == 200


def test_paired_device_has_access_under_its_name(own: httpx.Client, phone: httpx.Client, lan_server: WebServer) -> None:
    """The token is in a cookie that scripts can't read and other sites can't send; the store has only its digest."""
    done = _paired(own, phone, "phone under the dash")
    cookie = done.headers["set-cookie"]
    assert cookie.startswith("__Host-")
    assert {"HttpOnly", "Secure", "SameSite=strict", "Path=/"} <= {part.strip() for part in cookie.split(";")}
    assert "Domain" not in cookie
    token = phone.cookies[COOKIE]
    assert phone.get("/api/bench").json()["device"] == "phone under the dash"
    assert "on phone under the dash" in phone.get("/").text
    assert "paired</span> as <b>phone under the dash" in phone.get("/pair").text
    with sqlite3.connect(lan_server.folder / "store.sqlite") as store:
        whole = "\n".join(store.iterdump())
    store.close()
    assert digest_of(token) in whole
    assert token not in whole
    for spoiled in (
        token[:-1],
        token + "x",
        token.swapcase(),
        "",
        "x" * 43,
        "ü" * 43,
        token + "; " + COOKIE + "=" + token[::-1],
    ):
        header = f"{COOKIE}={spoiled}".encode()
        with httpx.Client(base_url=phone.base_url, verify=False) as unpaired:  # noqa: S501  the token is what is tested
            refused = unpaired.get("/api/bench", headers=[(b"cookie", header)])
        assert refused.status_code == 401, spoiled


def test_device_may_revoke_only_itself_and_makes_no_code(
    own: httpx.Client, phone: httpx.Client, trusting: ssl.SSLContext
) -> None:
    """A paired device sees the page System, but codes are made and other devices revoked on the machine itself."""
    pair(own, phone, "tablet")
    assert phone.get("/bench").status_code == 200
    page = phone.get("/bench").text
    assert 'class="digits"' not in page
    assert 'action="/bench/code"' not in page
    assert phone.post("/bench/code").status_code == 403
    assert phone.post("/api/bench/code").status_code == 403
    with httpx.Client(base_url=phone.base_url, verify=trusting) as other:
        pair(own, other, "second tablet")
        victim = device_id(own, "second tablet")
        assert phone.post("/bench/put_out", data={"device": victim}).status_code == 403
        assert phone.post(f"/api/bench/devices/{victim}/put_out").status_code == 403
        assert other.get("/api/bench").status_code == 200
        assert own.post("/bench/put_out", data={"device": victim}).status_code == 303
        assert other.get("/api/bench").status_code == 401
        assert other.get("/").headers["location"] == "/pair"
    assert phone.post("/bench/put_out", data={"device": device_id(own, "tablet")}).status_code == 303
    assert phone.get("/api/bench").status_code == 401
    assert own.post("/bench/put_out", data={"device": "nobody"}).status_code == 404
    shown = own.get("/bench").text
    assert "second tablet" in shown.split("Access revoked (")[1]


def test_wrong_codes_are_reported_cause_waits_and_void_the_code(own: httpx.Client, phone: httpx.Client) -> None:
    """A wrong code is reported beside what was typed; another attempt must wait; a pairing ends the waiting."""
    digits = new_code(own)
    try:
        wrong = f"{(int(digits) + 1) % 10**8:08}"
        refused = phone.post("/pair", data={"code": wrong, "name": '"><script>x</script>'})
        assert refused.status_code == 422
        assert "wrong code" in refused.text
        assert "&lt;script&gt;" in refused.text
        assert "<script>x" not in refused.text
        assert wrong in refused.text
        waiting = phone.post("/pair", data={"code": digits, "name": "phone"})
        assert waiting.status_code == 429
        assert 1 <= int(waiting.headers["retry-after"]) <= 3
        assert COOKIE not in phone.cookies
        assert len(phone.post("/pair", data={"code": "1" * 9000, "name": "x"}).text) < 20_000
        assert phone.post("/pair", data={"code": "1" * 11_000, "name": "x"}).status_code == 413
    finally:  # whichever test comes next, its device doesn't wait for this one's wrong code
        pair(own, phone, "after a wrong code")
    assert phone.get("/api/bench").json()["device"] == "after a wrong code"


def test_network_is_opened_from_the_page(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """One press on the machine itself opens the second listener, with pairing; again it changes nothing; a phone can't press it."""
    site.network.lan = False
    monkeypatch.setattr(serving, "_until_signalled", lambda _: contextlib.nullcontext())
    with serving.listen("127.0.0.1", 0) as loopback:
        servers = serving.Servers(site, serving.Options(address=ADDRESS), loopback)
        running = threading.Thread(target=lambda: asyncio.run(servers.run()))
        running.start()
        try:
            with httpx.Client(base_url=f"http://127.0.0.1:{loopback.getsockname()[1]}", timeout=30) as own:
                assert "Let phones connect" in own.get("/bench").text
                for _ in range(2):
                    assert own.post("/bench/lan").headers["location"] == "/bench"
                addresses = own.get("/api/bench").json()["addresses"]
                assert len(servers.servers) == 2
                trusting = ssl.create_default_context()
                trusting.load_verify_locations(cadata=own.get("/certificate").content)
                with httpx.Client(base_url=addresses[0], verify=trusting, timeout=30) as phone:
                    assert phone.get("/").headers["location"] == "/pair"
                    assert phone.post("/bench/lan").status_code in (303, 401, 403)
                    pair(own, phone, "phone in the bay")
                    assert phone.post("/bench/lan").status_code == 403
        finally:
            for server in servers.servers:
                server.should_exit = True
            running.join(20)
    assert not running.is_alive()


def test_network_that_is_not_there_is_said(site: Site) -> None:
    """An address that isn't this machine's is one sentence, and nothing is left open."""
    site.network.lan = False
    with serving.listen("127.0.0.1", 0) as loopback:
        servers = serving.Servers(site, serving.Options(address="192.0.2.1"), loopback)
        with pytest.raises(CallError, match="can't be listened on"):
            servers.open_lan()
    assert not site.network.lan


def test_crowd_without_handshakes_keeps_nobody_out(lan_server: WebServer) -> None:
    """Eighty connections that say nothing: all but a few are refused, and the own machine and another device are served."""
    seen = flood(lan_server, 80, held_s=0.1)
    assert seen.falls == []
    assert seen.refused == 80 - ConnectionLimits(all=99, of_address=99).handshakes_of_address


def test_restarted_server_keeps_its_devices_and_certificate(tmp_path: Path, program: WarmProgram) -> None:
    """After a kill and a restart a device is still paired, and still trusts the same authority."""
    running = WebServer(tmp_path, ("--lan", "--address", ADDRESS), program=program).start()
    try:
        with running.client() as own:
            trusted = own.get("/certificate").content
            address = own.get("/api/bench").json()["addresses"][0]
            with httpx.Client(base_url=address, verify=False) as phone:  # noqa: S501  trust is compared below
                token = pair(own, phone, "phone")
        running.kill()
        running.start()
        with running.client() as own:
            assert own.get("/certificate").content == trusted
            address = own.get("/api/bench").json()["addresses"][0]
        with httpx.Client(base_url=address, verify=False, cookies={COOKIE: token}) as phone:  # noqa: S501
            assert phone.get("/api/bench").json()["device"] == "phone"
    finally:
        running.stop()


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--address", "127.0.0.2"), "add --lan"),
        (("--lan", "--address", "192.0.2.77"), "name an address of this machine"),
        (("--lan", "--certificate", "none.pem"), "no such file"),
        (("--lan", "--key", "none.key"), "add --certificate"),
    ],
)
def test_mistakes_at_the_start_are_reported(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, options: tuple[str, ...], told: str
) -> None:
    """An address that isn't this machine's, or missing files, end it with one sentence and status 2."""

    def served(*_: object, **_options: object) -> None:
        pytest.fail("it serves")

    monkeypatch.setattr(uvicorn.Server, "serve", served)
    store = ("--store", tmp_path / "store.sqlite")
    done = run("serve", "--no-browser", "--port", 0, *store, *options, folder=tmp_path)
    assert done.returncode == 2
    assert told in done.stderr
    assert "Traceback" not in done.stderr


# ---- inside one process ----------------------------------------------------------------------------------------


class FromLan:
    """Marks requests as accepted by the LAN listener, as the server does."""

    def __init__(self, app: Any) -> None:
        self.app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        scope[LISTENER] = LAN
        await self.app(scope, receive, send)


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    """A site with access from the local network."""
    world = compose()
    made = Site(
        world, world.store(str(tmp_path / "store.sqlite")), NetworkAccess(lan=True, lan_hosts=frozenset({ADDRESS}))
    )
    yield made
    made.close()


def test_open_connection_of_a_revoked_device_is_ended(site: Site) -> None:
    """Revoking a device ends its open WebSocket, and it can't open another; without a token none is opened."""
    app = create_app(site)

    @app.websocket("/api/echo")
    async def echo(line: WebSocket) -> None:
        await line.accept()
        while True:
            await line.send_text(await line.receive_text())

    client = TestClient(FromLan(app), base_url=f"https://{ADDRESS}")
    with pytest.raises(WebSocketDisconnect) as refused, client.websocket_connect(f"wss://{ADDRESS}/api/echo"):
        pass
    assert refused.value.code == 1008
    digits = site.network.pairing.new_code().digits
    token, _ = site.network.pair(site.store.devices, code=digits, name="phone", address="192.168.1.2")
    cookie = {"cookie": f"{COOKIE}={token}"}
    foreign = {**cookie, "origin": "https://evil.test"}
    opening = client.websocket_connect(f"wss://{ADDRESS}/api/echo", headers=foreign)
    with pytest.raises(WebSocketDisconnect) as elsewhere, opening:
        pass
    assert elsewhere.value.code == 1008
    with client.websocket_connect(f"wss://{ADDRESS}/api/echo", headers=cookie) as line:
        line.send_text("one")
        assert line.receive_text() == "one"
        device = site.store.devices.list()[0].id
        assert site.network.connections.devices() == {device}
        site.store.devices.revoke(device)
        assert site.network.connections.cut(device) == 1
        with pytest.raises(WebSocketDisconnect) as cut:
            line.receive_text()
        assert cut.value.code == 1008
    assert site.network.connections.devices() == set()
    with pytest.raises(WebSocketDisconnect), client.websocket_connect(f"wss://{ADDRESS}/api/echo", headers=cookie):
        pass


def test_stream_of_a_device_ends_when_it_is_revoked() -> None:
    """A continuous answer is ended properly; one that begins after the revocation ends at once."""

    async def forever(_scope: Any, _receive: Any, send: Any) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        while True:
            await send({"type": "http.response.body", "body": b"x", "more_body": True})
            await asyncio.sleep(0.01)

    async def go() -> tuple[list[Any], list[Any]]:
        connections, first, second = Connections(), [], []

        async def kept(message: Any) -> None:
            first.append(message)

        async def later(message: Any) -> None:
            second.append(message)

        running = asyncio.ensure_future(connections.run("a", forever, {"type": "http"}, None, kept))  # type: ignore[arg-type]
        await asyncio.sleep(0.1)
        await asyncio.to_thread(connections.cut, "a")
        await asyncio.wait_for(running, 5)
        await asyncio.wait_for(connections.run("a", forever, {"type": "http"}, None, later), 5)  # type: ignore[arg-type]
        return first, second

    first, second = run_apart(go())
    assert len(first) > 3
    assert first[-1] == {"type": "http.response.body", "body": b"", "more_body": False}
    assert second[0]["status"] == 401 or second[-1].get("more_body") is False


def test_requests_of_unpaired_devices_are_limited(site: Site) -> None:
    """One address may have six requests at once, all unpaired devices together forty; a finished request makes room."""
    unpaired = UnpairedRequests()
    assert [unpaired.add("a") for _ in range(8)] == [True] * MOST_UNPAIRED_OF_ADDRESS + [False] * 2
    assert unpaired.add("b")
    unpaired.remove("a")
    assert unpaired.add("a")
    assert sum(unpaired.add(f"c{n}") for n in range(100)) == 40 - MOST_UNPAIRED_OF_ADDRESS - 1
    client = TestClient(FromLan(create_app(site)), base_url=f"https://{ADDRESS}")
    for _ in range(MOST_UNPAIRED_OF_ADDRESS):
        site.network.unpaired.add("testclient")
    refused = client.get("/pair")
    assert refused.status_code == 429
    assert refused.headers["retry-after"] == "2"
    site.network.unpaired.remove("testclient")
    assert [client.get("/pair").status_code for _ in range(20)] == [200] * 20


def test_unreachable_store_gives_no_access(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the store can't identify the device, the answer is 503 with a sentence, not a page."""
    from gainwright.errors import CallError

    def away(_self: object, _digest: str) -> None:
        raise CallError("the store is busy", code="store_busy")

    monkeypatch.setattr(type(site.store.devices), "by_token", away)
    client = TestClient(FromLan(create_app(site)), base_url=f"https://{ADDRESS}")
    refused = client.get("/api/jobs", headers={"cookie": f"{COOKIE}={'x' * 43}"})
    assert refused.status_code == 503
    assert refused.json()["what"] == "the store is busy"


# ---- in a browser ----------------------------------------------------------------------------------------------

SIZES: dict[str, Any] = {"phone": {"width": 390, "height": 844}, "desktop": {"width": 1280, "height": 900}}


KEPT_PATHS = """async () => await caches.has("gainwright-pages")
  ? (await (await caches.open("gainwright-pages")).keys()).map(({ url }) => new URL(url).pathname) : []"""


def trust(home: Path, authority: bytes) -> None:
    """Let Chromium of a home folder trust an authority, as a person does on a phone."""
    place = home / ".pki" / "nssdb"
    place.mkdir(parents=True)
    file = home / "authority.der"
    file.write_bytes(authority)
    for arguments in (("-N", "--empty-password"), ("-A", "-n", "bench", "-t", "C,,", "-i", str(file))):
        subprocess.run(("certutil", "-d", f"sql:{place}", *arguments), check=True, capture_output=True)


def launched(browser: Browser, home: Path) -> Browser:
    """Start Chromium with a home folder of its own."""
    flags = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
    flags.append("--host-resolver-rules=MAP insecure.test 127.0.0.1")
    environment: dict[str, str | float | bool] = {**os.environ, "HOME": str(home)}
    return browser.browser_type.launch(executable_path=CHROMIUM, args=flags, env=environment)


def test_phone_that_trusts_the_authority_is_paired_and_has_the_microphone(
    browser: Browser,
    own: httpx.Client,
    lan_address: str,
    lan_server: WebServer,
    tmp_path: Path,
    look: Callable[..., None],
) -> None:
    """A browser that trusts the authority is paired without a warning, and has the microphone; plain http doesn't."""
    trust(tmp_path, own.get("/certificate").content)
    chromium = launched(browser, tmp_path)
    try:
        page = chromium.new_page(viewport=SIZES["phone"], has_touch=True, base_url=lan_address)
        page.goto(f"{lan_address}/")
        assert page.url == f"{lan_address}/pair"
        page.goto(f"{lan_address}/pair?code={new_code(own)}")
        look(page, "pair-phone")
        page.get_by_label("Name of this device").fill("phone in the bay")
        click(page.get_by_role("button", name="Pair"))
        assert page.get_by_role("heading", level=1).inner_text() == "Jobs"
        assert page.evaluate("[isSecureContext, typeof navigator.mediaDevices?.getUserMedia, document.cookie]") == [
            *(True, "function", "")
        ]
        assert page.evaluate("fetch('/api/bench').then(a => a.json())")["device"].startswith("phone in the bay")
        _kept_until_revoked(page, own)
        page.goto(f"http://insecure.test:{lan_server.port}/")
        assert "unknown host" in page.locator("body").inner_text()
        assert page.evaluate("[isSecureContext, typeof navigator.mediaDevices]") == [False, "undefined"]
    finally:
        chromium.close()


def _kept_until_revoked(page: Page, own: httpx.Client) -> None:
    """The page says that the app is kept; the run that is opened is; nothing of it is once the access was revoked."""
    name = page.evaluate("fetch('/api/bench').then(a => a.json())")["device"]
    page.goto("/bench")
    page.locator("#connection").get_by_text("Secure and installable").wait_for()
    job = own.post("/api/jobs", json={"like": "one_amplifier"}).json()["id"]
    page.goto(f"/jobs/{job}/setup")
    page.locator("#kept").wait_for()
    paths = page.evaluate(KEPT_PATHS)
    assert {"/", f"/jobs/{job}", f"/jobs/{job}/setup/prepare.supply"} <= set(paths)
    assert [path for path in paths if path.startswith(("/api", "/pair", "/certificate", "/bench"))] == []
    own.post(f"/api/bench/devices/{device_id(own, name)}/put_out").raise_for_status()
    page.goto(f"/jobs/{job}/setup")
    assert page.get_by_role("heading", level=1).inner_text() == "Pair this device"
    until(page, f"async () => (await ({KEPT_PATHS})()).length === 0")


def test_browser_without_trust_warns(browser: Browser, lan_address: str, tmp_path: Path) -> None:
    """Without trust in the authority a browser refuses at first."""
    chromium = launched(browser, tmp_path)
    try:
        page = chromium.new_page()
        with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
            page.goto(f"{lan_address}/pair")
    finally:
        chromium.close()


@pytest.fixture
def lan_page(browser: Browser, lan_server: WebServer) -> Iterator[Callable[..., Page]]:
    """Open a page of either listener, whatever its certificate: `lan_page(address, size=..., scripts=..., dark=...)`."""
    contexts = []

    def opened(address: str, *, size: str = "desktop", scripts: bool = True, dark: bool = False) -> Page:
        context = browser.new_context(
            viewport=SIZES[size],
            ignore_https_errors=True,
            java_script_enabled=scripts,
            color_scheme="dark" if dark else "light",
            has_touch=size == "phone",
            reduced_motion="reduce",
        )
        contexts.append(context)
        context.add_cookies([lan_server.cookie])
        page = context.new_page()
        page.goto(address)
        return page

    yield opened
    for context in contexts:
        context.close()


@OTHER_SIZE_AND_WAY
def test_device_is_paired_and_revoked_on_the_pages(
    lan_page: Callable[..., Page], lan_server: WebServer, lan_address: str, *, size: str, scripts: bool
) -> None:
    """The page System makes a code; a device enters it with a name; the page shows the device and revokes it."""
    name = f"{size} {'with' if scripts else 'without'} scripts"
    bench = lan_page(f"{lan_server.address}/bench", size=size, scripts=scripts)
    before = bench.locator(".digits").inner_text() if bench.locator(".digits").count() else ""
    click(bench.get_by_role("button", name=re.compile("New code|Another code")))
    bench.locator(".digits", has_not_text=before or "none").wait_for()
    device = lan_page(f"{lan_address}/pair", size=size, scripts=scripts)
    if scripts:
        device.locator("#connection").get_by_text("Encrypted only").wait_for()
    device.get_by_label("Code").fill(bench.locator(".digits").inner_text())
    device.get_by_label("Name of this device").fill(name)
    click(device.get_by_role("button", name="Pair"))
    assert f"on {name}" in device.locator("footer").inner_text()
    bench.reload()
    assert bench.locator(".digits").count() == 0
    row = bench.locator("#devices .rows > li", has_text=name).first
    assert "last seen" in row.inner_text()
    click(row.get_by_role("button", name=f"Revoke {name}"))
    bench.locator("#devices > .rows > li", has_text=name).wait_for(state="detached")
    assert name in (bench.locator("#devices details").text_content() or "")
    device.reload()
    assert device.get_by_role("heading", level=1).inner_text() == "Pair this device"


def test_system_and_pairing_pages_are_accessible(
    lan_page: Callable[..., Page],
    own: httpx.Client,
    phone: httpx.Client,
    lan_server: WebServer,
    lan_address: str,
    day_and_night: Callable[..., None],
) -> None:
    """Both pages conform to WCAG 2.2 AA as far as axe can check, in light and dark mode, with everything unfolded."""
    pair(own, phone, "tablet at the lift")
    new_code(own)
    bench = lan_page(f"{lan_server.address}/bench", size="phone")
    click(bench.get_by_text("When a device's browser shows a warning"))
    click(bench.get_by_role("button", name="Check the store"))
    bench.get_by_text("No errors found").wait_for()
    click(bench.get_by_role("button", name="Test each part"))
    bench.get_by_role("columnheader", name="State").wait_for()
    day_and_night(bench, "bench")
    pairing = lan_page(f"{lan_address}/pair", size="phone")
    pairing.get_by_label("Code").fill("12345678")
    pairing.get_by_label("Name of this device").fill("...")
    click(pairing.get_by_role("button", name="Pair"))
    assert "needs a name" in pairing.get_by_role("alert").inner_text()
    day_and_night(pairing, "pair")


def test_system_page_without_lan_says_how_to_start_it(
    open_page: Callable[..., Page], axe: Callable[[Page], list[str]], look: Callable[..., None]
) -> None:
    """Without --lan the page offers to connect a phone; the store is checked with and without scripts."""
    page = open_page("/bench", size="phone")
    assert "gainwright serve --lan" in page.locator("main").inner_text()
    assert page.get_by_role("button", name="Let phones connect").count() == 1
    assert page.get_by_role("button", name="New code").count() == 0
    assert axe(page) == []
    look(page, "bench-alone-phone")
    plain = open_page("/bench", scripts=False)
    click(plain.get_by_role("button", name="Check the store"))
    assert "No errors found" in plain.locator("#store").inner_text()
    assert "store.sqlite" in plain.locator("#store").inner_text()


@pytest.mark.parametrize("dark", [False, True], ids=["day", "night"])
def test_qr_code_is_read_by_another_program(
    lan_page: Callable[..., Page],
    own: httpx.Client,
    lan_server: WebServer,
    lan_address: str,
    tmp_path: Path,
    *,
    dark: bool,
) -> None:
    """The codes on the page and in the terminal are decoded by a QR reader: the address with the code."""
    digits = new_code(own)
    page = lan_page(f"{lan_server.address}/bench", dark=dark)
    page.locator("svg.code").screenshot(path=tmp_path / "page.png")
    wanted = f"{lan_address}/pair?code={digits}"
    assert read_code(tmp_path / "page.png") == wanted
    pixels = [
        [character in upper for character in line for _ in range(1)]
        for line in as_text(wanted).splitlines()
        for upper in ("\u2588\u2580", "\u2588\u2584")
    ]
    picture = Image.new("L", (len(pixels[0]), len(pixels)))
    picture.putdata([255 * light for row in pixels for light in row])
    picture.resize((picture.width * 6, picture.height * 6), Image.Resampling.NEAREST).save(tmp_path / "terminal.png")
    assert read_code(tmp_path / "terminal.png") == wanted


def read_code(picture: Path) -> str:
    """Read a drawn code with the zbarimg program."""
    done = subprocess.run(("zbarimg", "--quiet", "--raw", str(picture)), capture_output=True, text=True, check=True)
    return done.stdout.strip()
