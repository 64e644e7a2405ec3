"""Another site's page in the same browser: it may link here, but can't post, read, embed, listen or rebind a name."""

from __future__ import annotations

import http.server
import threading
from typing import TYPE_CHECKING

import pytest
from browser_acts import CHROMIUM, click

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from playwright.sync_api import Browser, Page
    from web_server import WebServer

PAGE = b"<!doctype html><title>elsewhere</title><p>another site"


class _Elsewhere(http.server.BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        """Answer with a page that has no policy."""
        self.send_response(200)
        self.send_header("content-type", "text/html")
        self.end_headers()
        self.wfile.write(PAGE)

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture(scope="module")
def elsewhere() -> Iterator[str]:
    """Another site on this machine: another port is another origin, though the same site for cookies."""
    serving = http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Elsewhere)
    thread = threading.Thread(target=serving.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{serving.server_address[1]}"
    serving.shutdown()
    thread.join()
    serving.server_close()


@pytest.fixture
def foreign(browser: Browser, elsewhere: str, server: WebServer) -> Iterator[Page]:
    """A page of the other site."""
    context = browser.new_context()
    context.add_cookies([server.cookie])
    page = context.new_page()
    page.goto(elsewhere)
    yield page
    context.close()


def jobs_kept(server: WebServer) -> int:
    """Return how many jobs there are."""
    return len(server.get("/api/jobs").json())


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost"])
def test_form_of_another_site_does_nothing(foreign: Page, server: WebServer, host: str) -> None:
    """A form sent by another site's page is refused, from another port of the same machine and from another name."""
    before = jobs_kept(server)
    foreign.evaluate(
        """address => { const form = document.createElement("form"); form.method = "post"; form.action = address;
        form.innerHTML = '<input name="like" value="full_range">'; document.body.append(form); form.submit(); }""",
        f"http://{host}:{server.port}/jobs/new",
    )
    foreign.wait_for_url("**/jobs/new")
    assert "another site" in foreign.locator("body").inner_text()
    assert jobs_kept(server) == before


def test_script_of_another_site_neither_writes_nor_reads(foreign: Page, server: WebServer) -> None:
    """Requests without CORS have no effect, those with it fail, a WebSocket is refused, images and frames stay empty."""
    before = jobs_kept(server)
    found = foreign.evaluate(
        """async address => {
        const tried = async (what) => { try { return await what(); } catch (error) { return error.name; } };
        const post = { method: "POST", mode: "no-cors", body: JSON.stringify({ like: "full_range" }),
                       headers: { "content-type": "text/plain" } };
        await tried(() => fetch(address + "/api/jobs", post));
        const form = { method: "POST", mode: "no-cors", body: new URLSearchParams({ like: "full_range" }) };
        await tried(() => fetch(address + "/jobs/new", form));
        return {
          read: await tried(async () => (await fetch(address + "/api/jobs")).status),
          json: await tried(async () => (await fetch(address + "/api/jobs", {
            method: "POST", body: "{}", headers: { "content-type": "application/json" } })).status),
          socket: await new Promise((done) => { const line = new WebSocket(address.replace("http", "ws") + "/api/live");
            line.onopen = () => done("open"); line.onerror = () => done("refused"); }),
          picture: await new Promise((done) => { const picture = new Image(); picture.src = address + "/static/mark.svg";
            picture.onload = () => done("shown"); picture.onerror = () => done("refused"); }),
          script: await new Promise((done) => { const script = document.createElement("script");
            script.src = address + "/static/page.js"; script.type = "module";
            script.onload = () => done("run"); script.onerror = () => done("refused"); document.head.append(script); }),
        }; }""",
        server.address,
    )
    refused = {"picture": "refused", "script": "refused", "socket": "refused"}
    assert found == {"read": "TypeError", "json": "TypeError", **refused}
    assert jobs_kept(server) == before


def test_page_isnt_shown_in_another_sites_frame(foreign: Page, server: WebServer) -> None:
    """A frame of another site doesn't show our page, which prevents clickjacking."""
    foreign.evaluate(
        """address => new Promise((done) => { const frame = document.createElement("iframe"); frame.src = address;
        frame.onload = done; document.body.append(frame); })""",
        server.address,
    )
    inside = [frame for frame in foreign.frames if frame != foreign.main_frame]
    assert len(inside) == 1
    assert "New job" not in inside[0].locator("html").inner_text()


def test_link_of_another_site_works(foreign: Page, server: WebServer) -> None:
    """A plain link that a person follows."""
    foreign.evaluate(
        "address => { const a = document.createElement('a'); a.href = address; a.text = 'go'; document.body.append(a); }",
        server.address,
    )
    click(foreign.get_by_role("link", name="go"))
    assert foreign.get_by_role("heading", level=1).inner_text() == "Jobs"


def test_rebound_name_is_refused(browser: Browser, server: WebServer) -> None:
    """A name of another site that points at this machine is refused on every path."""
    flags = ["--no-sandbox", "--disable-gpu", "--host-resolver-rules=MAP evil.test 127.0.0.1"]
    rebound = browser.browser_type.launch(executable_path=CHROMIUM, args=flags)
    try:
        page = rebound.new_page()
        page.goto(f"http://evil.test:{server.port}/")
        assert "unknown host" in page.locator("body").inner_text()
        before = jobs_kept(server)
        statuses = page.evaluate(
            """async () => [(await fetch("/api/jobs")).status, (await fetch("/static/page.js")).status,
            (await fetch("/api/jobs", { method: "POST", body: '{"like": "full_range"}',
              headers: { "content-type": "application/json" } })).status]"""
        )
        assert statuses == [421, 421, 421]
        assert jobs_kept(server) == before
    finally:
        rebound.close()


def test_policy_blocks_everything_inline(browser: Browser, server: WebServer) -> None:
    """Injected markup would not run: no inline script, handler, eval, style, foreign image or base."""
    context = browser.new_context()
    context.add_cookies([server.cookie])
    try:
        page = context.new_page()
        page.goto(server.address)
        page.evaluate(
            """() => { window.ran = [];
            const script = document.createElement("script"); script.textContent = "ran.push('inline')";
            document.body.append(script);
            const div = document.createElement("div"); div.id = "probe";
            div.innerHTML = '<img src="/static/none.png" onerror="ran.push(1)"><p style="color: rgb(1, 2, 3)">x</p>' +
              '<a href="javascript:ran.push(2)">y</a><base href="http://127.0.0.1:9/">';
            document.body.append(div);
            setTimeout("ran.push('string')", 0); }"""
        )
        click(page.locator("#probe a"))
        found = page.evaluate(
            """async () => { await new Promise((done) => setTimeout(done, 300));
            const element = document.createElement("script");
            element.src = "data:text/javascript,ran.push('data')"; document.body.append(element);
            await new Promise((done) => { element.onerror = done; setTimeout(done, 2000); });
            return { ran: window.ran, colour: getComputedStyle(document.querySelector("#probe p")).color,
                     base: document.baseURI }; }"""
        )
        assert found["ran"] == []
        assert found["colour"] != "rgb(1, 2, 3)"
        assert found["base"].startswith(server.address)
    finally:
        context.close()


def test_own_pages_keep_the_policy(open_page: Callable[..., Page]) -> None:
    """`open_page` fails on any violation that the browser reports."""
    page = open_page("/bench")
    assert page.get_by_role("heading", level=1).inner_text() == "System"
