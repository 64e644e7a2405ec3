"""The help of the web app: the documentation site below /help/, each page's link to its place, on a phone without a network."""

from __future__ import annotations

import contextlib
import json
import re
import socket
import threading
from typing import TYPE_CHECKING

import pytest
import uvicorn
from browser_acts import until
from docs_site.pictures import PICTURES, TAKEN, page_of, said
from starlette.testclient import TestClient

from gainwright.adapters import docs_site
from gainwright.composition import compose
from gainwright.web import Site, create_app
from gainwright.web.help_files import help_build

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser

KEPT = """async () => { const name = (await caches.keys()).find((name) => name.startsWith("gainwright-help-"));
  return name && (await (await caches.open(name)).keys()).length === %d; }"""
"""Whether the service worker has kept so many files of the help."""
HEADERS_OF_A_PAGE = ("content-security-policy", "x-content-type-options", "referrer-policy")


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """An empty site."""
    world = compose()
    made = Site(world, world.store(str(tmp_path_factory.mktemp("help") / "store.sqlite")))
    yield made
    made.close()


@pytest.fixture(scope="module")
def client(site: Site) -> TestClient:
    """A client of an app in this process, on the machine itself."""
    return TestClient(create_app(site), base_url="http://127.0.0.1:8470")


@pytest.fixture
def built(docs_site_folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The site as it is in a wheel."""
    monkeypatch.setattr(docs_site, "SITE", docs_site_folder)
    return docs_site_folder


def test_every_page_leads_to_its_place_in_the_help(tree: Path, docs_site_folder: Path) -> None:
    """Each template that is a page says where its help is, itself or by the one it extends; page and anchor exist.

    Those without the main contents are for browsers that aren't known yet, which get no help either.
    """
    templates = {p.name: p.read_text(encoding="utf-8") for p in (tree / "src/gainwright/web/templates").iterdir()}
    extends = {
        name: found[1]
        for name, text in templates.items()
        if (found := re.search(r'{% extends "(\S+)" %}', text)) and "{% block rooms %}{% endblock %}" not in text
    }
    places = {name: re.findall(r"{% block help %}(.*?){% endblock %}", templates[name]) for name in extends}
    assert len(places) > 30
    for name, own in places.items():
        place = own or places[extends[name]]
        assert len(place) == 1, f"{name}: no place in the help"
        page, _, anchor = place[0].partition("#")
        text = (docs_site_folder / page).read_text(encoding="utf-8")
        assert not anchor or f'id="{anchor}"' in text, f"{name}: {place[0]}"


@pytest.mark.usefixtures("built")
def test_help_is_served_with_the_policy_of_every_page(client: TestClient) -> None:
    """Pages, style, script and index come with the app's own headers; what isn't there, or outside, is not found."""
    ours = client.get("/").headers
    for path in ("/help/", "/help/job-file.html", "/help/site.css", "/help/site.js", "/help/decisions/0009-store.html"):
        answer = client.get(path)
        assert answer.status_code == 200, path
        assert {name: answer.headers[name] for name in HEADERS_OF_A_PAGE} == {n: ours[n] for n in HEADERS_OF_A_PAGE}
        assert answer.headers["cache-control"] == "no-cache"
    assert "frame-ancestors 'none'" in ours["content-security-policy"]
    for path in ("/help/none.html", "/help/%2e%2e/py.typed", "/help/..%2fpy.typed", "/help/a%00b"):
        assert client.get(path).status_code == 404, path


def test_help_that_is_not_built_says_what_builds_it(
    client: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a tree where nobody has built it the page says so, and the service worker keeps no help."""
    monkeypatch.setattr(docs_site, "SITE", tmp_path / "none")
    answer = client.get("/help/app.html")
    assert answer.status_code == 404
    assert "python3 tasks.py docs" in answer.text
    assert 'const HELP = {"build": "", "files": []};' in client.get("/service-worker.js").text


def test_service_worker_lists_every_file_of_the_help(client: TestClient, built: Path) -> None:
    """It names each file below its address, and the build by its content."""
    told = re.search(r"^const HELP = (.*);$", client.get("/service-worker.js").text, re.MULTILINE)
    assert told
    given = json.loads(told[1])
    files = {p.relative_to(built).as_posix() for p in built.rglob("*") if p.is_file() and p.name != ".made-from"}
    assert {path.removeprefix("/help/") for path in given["files"]} == files
    assert (built / ".made-from").read_text(encoding="utf-8").startswith(given["build"])
    assert [client.get(path).status_code for path in given["files"]] == [200] * len(files)


def test_pages_say_what_they_said_when_their_pictures_were_taken(client: TestClient) -> None:
    """Headings and labels of each page that a document shows; after a change: `python3 tasks.py docs --pictures`."""
    jobs: dict[str, str] = {}

    def new_job(like: str) -> str:
        return str(client.post("/api/jobs", json={"like": like}).json()["id"])

    pages = {name: client.get(page_of(picture, new_job, jobs)).text for name, picture in PICTURES.items()}
    taken = json.loads(TAKEN.read_text(encoding="utf-8"))
    assert {name: said(page) for name, page in pages.items()} == {name: told["said"] for name, told in taken.items()}
    assert said("<h1 id=a>One <b>two</b></h1><p>no</p><legend>Go &amp; stop</legend>") == ["One two", "Go & stop"]


@contextlib.contextmanager
def _served(site: Site) -> Iterator[str]:
    server = uvicorn.Server(uvicorn.Config(create_app(site), lifespan="off", log_level="critical", ws="none"))
    listening = socket.create_server(("127.0.0.1", 0))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(20)
        listening.close()


@pytest.mark.usefixtures("built")
def test_help_opens_without_a_network_and_leads_back(site: Site, browser: Browser) -> None:
    """On a phone: from a page to its place, a search, back to the page; then the network is gone and another page opens."""
    errors: list[str] = []
    with _served(site) as address, contextlib.closing(browser.new_context(viewport={"width": 390, "height": 844})) as c:
        page = c.new_page()
        page.on("console", lambda told: errors.append(told.text) if told.type == "error" else None)
        page.goto(f"{address}/practise")
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        page.get_by_role("link", name="Help", exact=True).click()
        assert page.url == f"{address}/help/app.html#practise"
        page.get_by_role("searchbox").fill("fuse_above_wire")
        page.locator("#found mark").first.wait_for()
        assert page.locator("#found a").first.get_attribute("href") == "power.html#the-supply"
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        page.reload()  # by now the service worker is in charge: it keeps the rest
        until(page, KEPT % len(help_build()[1]))
        page.get_by_role("link", name="Back to the app").click()
        assert page.url == f"{address}/practise"
        c.set_offline(offline=True)
        page.goto(f"{address}/help/decisions/0009-store.html")
        assert "store" in page.title()
    assert errors == []
