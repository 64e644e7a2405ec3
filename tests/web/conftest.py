"""Shared by tests of the web app: a server, a browser at phone and desktop size, screenshots, accessibility checks."""

from __future__ import annotations

import contextlib
import functools
import importlib.resources
import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import httpx
import pytest
from browser_acts import CHROMIUM, ENGINES, FLAGS
from playwright.sync_api import Error as PlaywrightError
from playwright.sync_api import sync_playwright
from web_server import WebServer

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator, Sequence

    from playwright.sync_api import Browser, Page
    from warm_program import WarmProgram

SIZES = {"phone": {"width": 390, "height": 844}, "desktop": {"width": 1280, "height": 900}}
PICTURES = os.environ.get("GAINWRIGHT_PICTURES", "")
"""The folder in which screenshots are left for a person to look at; none are made without it."""
WCAG = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
COLOURS = ("color-contrast", "link-in-text-block")
"""The rules that look at colours: the others say the same of a page by night as by day."""


@pytest.fixture(scope="session")
def one_server(tmp_path_factory: pytest.TempPathFactory, program: WarmProgram) -> Iterator[WebServer]:
    """The server of a whole test process."""
    running = WebServer(tmp_path_factory.mktemp("web"), program=program).start()
    yield running
    running.stop()


@pytest.fixture(scope="module")
def server(one_server: WebServer) -> WebServer:
    """The server with nothing kept: what the tests of other modules left is gone."""
    one_server.empty()
    return one_server


@pytest.fixture
def api(server: WebServer) -> Iterator[httpx.Client]:
    """A client of the HTTP API."""
    with server.client() as client:
        yield client


@pytest.fixture
def job(api: httpx.Client) -> str:
    """The id of a fresh job like the example with a two-way front and a subwoofer."""
    return str(api.post("/api/jobs", json={"like": "two_way_and_sub"}).json()["id"])


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's Chromium, without the windows that nobody sees."""
    with sync_playwright() as playwright:
        for name, engine in ENGINES.items():
            playwright.selectors.register(name, engine, content_script=True)
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=[*FLAGS])
        yield running
        running.close()


@dataclass(frozen=True)
class Sort:
    """What a browser's context is made with and keeps; with `kept`, the app's service worker keeps pages in it."""

    address: str
    cookie: tuple[tuple[str, str], ...]
    size: str
    scripts: bool
    dark: bool
    kept: bool = False

    @property
    def scheme(self) -> Literal["dark", "light"]:
        """The colours it asks for."""
        return "dark" if self.dark else "light"


@dataclass
class Pages:
    """Pages that are lent to one test after another: a new one costs the browser three times what a visit does.

    Each is alone in its context, and comes without cookies, anything stored, handlers or errors of an earlier test.
    """

    browser: Browser
    free: dict[Sort, list[Page]] = field(default_factory=dict)
    lent: list[tuple[Sort, Page]] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def lend(self, sort: Sort) -> Page:
        """Return a blank page; it is a new one if none is free. Those of other servers are closed."""
        for other in [other for other in self.free if other.address != sort.address]:
            for page in self.free.pop(other):
                page.context.close()
        free = self.free.setdefault(sort, [])
        page = free.pop() if free else self.new(sort)
        page.context.add_cookies([dict(sort.cookie)])  # type: ignore[list-item]
        self.lent.append((sort, page))
        return page

    def new(self, sort: Sort) -> Page:
        """Open a page in a context of its own."""
        context = self.browser.new_context(
            viewport=SIZES[sort.size],  # type: ignore[arg-type]
            base_url=sort.address,
            service_workers="allow" if sort.kept else "block",
            java_script_enabled=sort.scripts,
            color_scheme=sort.scheme,
            has_touch=sort.size == "phone",
            reduced_motion="reduce",
        )
        context.add_cookies([dict(sort.cookie)])  # type: ignore[list-item]
        page = context.new_page()
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("console", lambda m: self.errors.append(m.text) if "Content Security Policy" in m.text else None)
        return page

    def take_back(self) -> list[str]:
        """Blank the pages that were lent, and return what errors they had."""
        for sort, page in self.lent:
            try:
                self._blank(sort, page)
            except PlaywrightError:  # closed, or its server is stopped
                page.context.close()
            else:
                self.free.setdefault(sort, []).append(page)
        self.lent.clear()
        had, self.errors[:] = [*self.errors], []
        return had

    def _blank(self, sort: Sort, page: Page) -> None:
        for other in page.context.pages:
            if other is not page:
                other.close()
        page.unroute_all(behavior="ignoreErrors")
        page.context.unroute_all(behavior="ignoreErrors")
        page.context.set_offline(offline=False)
        page.goto("/api/nothing")  # of the same server: about:blank would start a process of its own
        page.evaluate("sessionStorage.clear()")
        page.context.clear_cookies()
        page.context.clear_permissions()
        session = page.context.new_cdp_session(page)
        session.send("Storage.clearDataForOrigin", {"origin": sort.address, "storageTypes": "all"})
        session.detach()
        page.set_viewport_size(SIZES[sort.size])  # type: ignore[arg-type]
        page.emulate_media(media="screen", color_scheme=sort.scheme, reduced_motion="reduce")


@pytest.fixture(scope="session")
def pages(browser: Browser) -> Pages:
    """The pages of a whole test process."""
    return Pages(browser)


@pytest.fixture
def open_page(pages: Pages, server: WebServer) -> Iterator[Callable[..., Page]]:
    """Open a page: `open_page("/", size="phone", scripts=True, dark=False)`; errors of its console fail the test.

    `own_page=True` is for a test that listens to the page: such a page is closed after it. So is one with `kept=True`,
    whose pages the service worker keeps, as it does for a user; without, each page comes from the server.
    """
    own: list[Page] = []

    def opened(
        path: str = "/",
        *,
        size: str = "desktop",
        scripts: bool = True,
        dark: bool = False,
        own_page: bool = False,
        kept: bool = False,
    ) -> Page:
        sort = Sort(server.address, tuple(server.cookie.items()), size, scripts, dark, kept)
        page = pages.new(sort) if own_page or kept else pages.lend(sort)
        if own_page or kept:
            own.append(page)
        page.goto(path)
        return page

    yield opened
    for page in own:
        page.context.close()
    assert pages.take_back() == []


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Show with a failure where the pages were, and what stood on them."""
    report = yield
    pages = item.funcargs.get("pages") if isinstance(item, pytest.Function) else None
    if call.when == "call" and call.excinfo is not None and isinstance(pages, Pages):
        for _, page in pages.lent:
            with contextlib.suppress(PlaywrightError):
                report.sections.append((f"page {page.url}", page.inner_text("body", timeout=1000)[:2000]))
    return report


@functools.cache
def _axe() -> str:
    return (importlib.resources.files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")


AXE_RUN = """runOnly => axe.run(document, {runOnly, resultTypes: ["violations"], preload: false})
  .then(found => found.violations.map(v => [v.id, v.help, v.nodes.slice(0, 3).map(node => node.target[0])]))"""
"""What follows the rules isn't described: that takes axe longer than to look. No style sheet comes from elsewhere."""


def violations(page: Page, rules: tuple[str, ...] = ()) -> list[str]:
    """Return a page's violations of WCAG 2.2 AA and best practice, or of some rules, as far as axe can check."""
    if page.evaluate("typeof window.axe") == "undefined":
        page.evaluate(_axe())  # not as a script element: the page's own policy refuses inline scripts
    size = page.viewport_size
    assert size is not None
    # the bar at a phone's lower edge covers what can be scrolled from under it; axe looks at one moment only
    whole = page.evaluate("document.documentElement.scrollHeight")
    page.set_viewport_size({"width": size["width"], "height": max(size["height"], whole + 100)})
    run_only = {"type": "rule", "values": list(rules)} if rules else {"type": "tag", "values": list(WCAG)}
    found: list[tuple[str, str, list[str]]] = page.evaluate(AXE_RUN, run_only)
    page.set_viewport_size(size)
    return [f"{rule}: {text} ({'; '.join(map(str, nodes))})" for rule, text, nodes in found]


def look(page: Page, name: str, *, full: bool = True) -> None:
    """Leave a screenshot where a person can look at it, if one asked for them; the page must not be wider than the window."""
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth + 1"), f"{name} scrolls sideways"
    if PICTURES:
        Path(PICTURES).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=Path(PICTURES) / f"{name}.png", full_page=full)


def each_size(page: Page) -> Iterator[str]:
    """Give a page each size in turn, and at last its own again; to load it twice would take longer than to look at it."""
    own = page.viewport_size
    assert own is not None
    for size, window in SIZES.items():
        page.set_viewport_size(window)  # type: ignore[arg-type]
        yield size
    page.set_viewport_size(own)


def both_sizes(page: Page, name: str, *, full: Sequence[str] = tuple(SIZES)) -> None:
    """Check that a page keeps WCAG 2.2 AA on the phone and on the desktop, and leave a screenshot of each; `full`: of all of it."""
    for size in each_size(page):
        assert violations(page) == [], f"{name}-{size}"
        look(page, f"{name}-{size}", full=size in full)


def day_and_night(
    page: Page, name: str, *, sizes: Sequence[str] = tuple(SIZES), full: Sequence[str] = tuple(SIZES)
) -> None:
    """Check that a page keeps WCAG 2.2 AA at each size in both colour schemes, and leave a screenshot of each."""
    for scheme, rules, ending in (("light", (), ""), ("dark", COLOURS, "-night")):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        for size in each_size(page):
            if size in sizes:
                assert violations(page, rules) == [], f"{name}-{size}{ending}"
                look(page, f"{name}-{size}{ending}", full=size in full)
    page.emulate_media(color_scheme="light")


@pytest.fixture(name="each_size")
def each_size_fixture() -> Callable[[Page], Iterator[str]]:
    """Give a page each size in turn: `for size in each_size(page)`."""
    return each_size


@pytest.fixture(name="both_sizes")
def both_sizes_fixture() -> Callable[..., None]:
    """Check a page's accessibility at both sizes: `both_sizes(page, "jobs")`."""
    return both_sizes


@pytest.fixture(name="day_and_night")
def day_and_night_fixture() -> Callable[..., None]:
    """Check a page's accessibility at both sizes and in both colour schemes: `day_and_night(page, "jobs")`."""
    return day_and_night


@pytest.fixture
def axe() -> Callable[[Page], list[str]]:
    """Tell what a page breaks of WCAG 2.2 AA; nothing is right."""
    return violations


@pytest.fixture(name="look")
def look_fixture() -> Callable[..., None]:
    """Leave a screenshot: `look(page, "jobs-phone")`."""
    return look
