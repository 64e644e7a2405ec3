"""The app without a network: its manifest and service worker, the run that is kept, readings that wait, cut lines."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import httpx
import numpy as np
import pytest
from browser_acts import click, until
from cutting_proxy import STAGES, CuttingProxy
from PIL import Image, ImageChops
from starlette.testclient import TestClient
from web_server import WebServer

from gainwright.composition import compose
from gainwright.web import Site, create_app

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from playwright.sync_api import Browser, Page

SUPPLY = "prepare.supply"
READINGS, CUTS_OF_EACH, SINGLE = 50, 4, 8
AT_ONCE = "setInterval(() => dispatchEvent(new Event('online')), 30)"
"""Has a page send again without its pauses, as if the network had just come back."""
ENTRIES = """() => new Promise((resolve) => { const asked = indexedDB.open("gainwright");
  asked.onsuccess = () => { const all = asked.result.transaction("entries").objectStore("entries").getAll();
    all.onsuccess = () => { asked.result.close(); resolve(all.result.map((e) => e.told)); }; }; })"""


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A client of an app in this process, on the machine itself."""
    world = compose()
    site = Site(world, world.store(str(tmp_path_factory.mktemp("offline") / "store.sqlite")))
    with TestClient(create_app(site), base_url="http://127.0.0.1:8470") as made:
        yield made


def entered(api: httpx.Client, job: str) -> list[tuple[str, str]]:
    """Return step and text of the entries of a run."""
    return [(e["step"], e["text"]) for e in api.get(f"/api/jobs/{job}/run").json()["entries"]]


def kept_run(page: Page, job: str) -> None:
    """Open the list of a run's steps, and wait until the run is kept."""
    page.goto(f"/jobs/{job}/setup")
    page.locator("#kept").wait_for()


def enter(page: Page, text: str, volts: str = "") -> None:
    """Type a reading and enter it."""
    page.locator("#field").fill(text)
    if volts:
        page.locator("#volts").fill(volts)
    page.get_by_role("button", name="Enter", exact=True).click()


# ---- what the browser is told -------------------------------------------------------------------------------------


def test_manifest_has_what_makes_the_app_installable(client: TestClient) -> None:
    """Name, address, display and icons of the sizes that browsers ask for (W3C Web Application Manifest)."""
    answer = client.get("/manifest.webmanifest")
    assert answer.headers["content-type"].startswith("application/manifest+json")
    told = answer.json()
    assert (told["name"], told["start_url"], told["scope"], told["display"]) == ("Gainwright", "/", "/", "standalone")
    assert {(icon["sizes"], icon.get("purpose", "any")) for icon in told["icons"]} >= {
        *(("192x192", "any"), ("512x512", "any"), ("512x512", "maskable"))
    }
    for icon in told["icons"]:
        found = client.get(icon["src"])
        assert (found.status_code, found.headers["content-type"]) == (200, icon["type"])
    page = client.get("/").text
    assert '<link rel="manifest" href="/manifest.webmanifest">' in page


def test_icons_show_the_mark(client: TestClient, tmp_path: Path) -> None:
    """The drawn icons are the mark as another program draws it now; the maskable one has it within the safe zone."""
    import vl_convert

    mark = client.get("/static/mark.svg").text.replace("<svg ", '<svg width="32" height="32" ', 1)
    for name in ("icon-192", "icon-512"):
        (tmp_path / name).write_bytes(client.get(f"/static/{name}.png").content)
        with Image.open(tmp_path / name) as read:
            icon = read.convert("RGBA")
        assert icon.width == icon.height == int(name[5:])
        (tmp_path / "drawn").write_bytes(vl_convert.svg_to_png(mark, scale=icon.width / 32))
        with Image.open(tmp_path / "drawn") as read:
            apart = ImageChops.difference(icon, read.convert("RGBA")).convert("L").histogram()
        assert sum(apart[32:]) < 0.01 * icon.width**2, name
    (tmp_path / "mask").write_bytes(client.get("/static/icon-maskable-512.png").content)
    with Image.open(tmp_path / "mask") as read:
        mask = read.convert("RGB")
    ground = mask.getpixel((0, 0))
    y, x = np.nonzero((np.asarray(mask) != ground).any(axis=2))
    assert len(x) > 10_000
    assert np.hypot(x - 255.5, y - 255.5).max() < 0.4 * 512  # the safe zone: a circle of 40 % of the width


def test_service_worker_keeps_every_static_file(client: TestClient) -> None:
    """It is served for the whole site, checked each time, and lists the files that exist; its name follows their content."""
    answer = client.get("/service-worker.js")
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["cache-control"] == "no-cache"
    build, assets = (json.loads(found) for found in re.findall(r"^const \w+ = (.*);$", answer.text, flags=re.M)[:2])
    assert re.fullmatch(r"[\d.]+\w*-[0-9a-f]{16}", build)
    folder = Path(__file__).resolve().parents[2] / "src" / "gainwright" / "web"
    kept = {asset.removeprefix(f"/static/{build}/") for asset in assets}
    assert kept == {path.name for path in (folder / "static").iterdir()}
    asked = {
        a for path in (folder / "templates").iterdir() for a in re.findall(r"{{ static }}/([^\"]+)", path.read_text())
    }
    assert asked
    assert asked <= kept
    assert [client.get(asset).status_code for asset in assets] == [200] * len(assets)


def test_browser_asks_again_only_for_what_may_have_changed(client: TestClient) -> None:
    """A page asks for this build's files, which stay as they are; the same files under other names are checked each time."""
    found = re.findall(r'(?:href|src)="(/static/[^"]+)"', client.get("/").text)
    build = found[0].split("/")[2]
    assert len(found) > 3
    assert {address.rpartition("/")[0] for address in found} == {f"/static/{build}"}
    for folder, kept in (
        (f"/static/{build}", "max-age=31536000, immutable"),
        ("/static", "no-cache"),
        ("/static/0.1-0123456789abcdef", "no-cache"),
    ):
        answer = client.get(f"{folder}/sheet.css")
        assert answer.text == client.get(found[[a.endswith("/sheet.css") for a in found].index(True)]).text
        assert answer.headers["cache-control"] == kept
    assert client.get(f"/static/{build}/none.css").status_code == 404
    assert client.get("/static/other/sheet.css").status_code == 404


def test_scripts_name_each_other_by_their_place(client: TestClient) -> None:
    """A script that was asked for by its build's name asks for others by the same, or it would be there twice."""
    scripts = [
        a for a in re.findall(r'"(/static/[^"]+[.]js)"', client.get("/service-worker.js").text) if "worker.js" not in a
    ]
    assert len(scripts) > 5
    assert [a for a in scripts if "/static/" in client.get(a).text] == []


@pytest.mark.parametrize("path", ["/", "/offline", "/api/jobs", "/service-worker.js"])
def test_policy_allows_worker_and_manifest_of_our_own(client: TestClient, path: str) -> None:
    """Worker and manifest may come from this server only; answers aren't stored but by the worker."""
    answer = client.get(path)
    assert answer.status_code == 200
    policy = answer.headers["content-security-policy"]
    assert "worker-src 'self'" in policy
    assert "manifest-src 'self'" in policy
    assert answer.headers["cache-control"] == ("no-cache" if path.endswith(".js") else "no-store")


# ---- in the browser -----------------------------------------------------------------------------------------------


def test_run_opens_and_continues_without_a_network(
    open_page: Callable[..., Page], api: httpx.Client, job: str, day_and_night: Callable[..., None]
) -> None:
    """The app opens from its start address; the run is there, a reading waits, the next step opens; then it is sent."""
    page = open_page("/", size="phone", kept=True)
    kept_run(page, job)
    page.context.set_offline(True)
    page.goto("/")
    assert "No connection: as of 20" in page.locator("#no-connection").inner_text()
    page.goto(f"/jobs/{job}/setup?short=true")
    click(page.locator(f'a[href$="/{SUPPLY}"]'))
    enter(page, "13,9")
    page.get_by_text("waiting to be sent: 13,9").wait_for()
    day_and_night(page, "offline-step", sizes=["phone"], full=[])
    click(page.get_by_text("Add a photo or a note"))
    picture = io.BytesIO()
    Image.new("RGB", (80, 60), "red").save(picture, "JPEG")
    page.get_by_label("Photo", exact=True).set_input_files(
        {"name": "p.jpg", "mimeType": "image/jpeg", "buffer": picture.getvalue()}
    )
    page.locator("#notes textarea").fill("fuse is loose")
    click(page.get_by_role("button", name="Keep", exact=True))
    page.locator("#waiting").get_by_text("13,9; a photo fuse is loose").wait_for()
    onward = page.locator("#waiting a")
    assert re.fullmatch(r"Next: step \S+", onward.inner_text())
    click(onward)
    assert page.url.split("/")[-1] not in (SUPPLY, "setup")
    assert "2 entries are kept on this device" in page.locator("#waiting").inner_text()
    page.goto(f"/jobs/{job}/setup")
    page.locator("li", has=page.locator(f'a[href$="/{SUPPLY}"]')).last.get_by_text(
        "waiting to be sent: 13,9"
    ).wait_for()
    day_and_night(page, "offline-list", sizes=["phone"], full=[])
    page.goto("/cases")
    click(page.get_by_role("link", name=api.get(f"/api/jobs/{job}").json()["title"]))
    page.go_back()
    day_and_night(page, "offline-not-kept", sizes=["phone"])
    page.goto(f"/jobs/{job}/setup/{SUPPLY}")
    page.locator("#waiting").wait_for()
    assert entered(api, job) == []
    assert api.get(f"/api/jobs/{job}/notes").json() == []
    page.context.set_offline(False)
    page.locator("#found").get_by_text("fits").wait_for(timeout=20_000)
    assert page.locator("#no-connection").is_hidden()
    assert page.locator("#waiting").count() == 0
    assert entered(api, job) == [(SUPPLY, "13,9")]
    (note,) = api.get(f"/api/jobs/{job}/notes").json()
    assert (note["text"], note["media_type"]) == ("fuse is loose", "image/jpeg")
    # the page is kept beside its display, a moment later
    holds = "async (path) => (await (await caches.match(path))?.text() ?? '').includes('13.9 V')"
    page.wait_for_function(holds, arg=f"/jobs/{job}/setup/{SUPPLY}")
    page.context.set_offline(True)
    page.goto(f"/jobs/{job}/setup/{SUPPLY}")
    assert "13.9 V" in page.locator("#found").inner_text()
    page.goto(f"/jobs/{job}/setup/amplifier.amp_sub")
    click(page.locator("button.play"))
    page.get_by_text("made here at").wait_for()
    page.wait_for_function("() => document.querySelector('.tone audio').currentTime > 0.05")
    assert "No connection" in page.locator("#no-connection").inner_text()


def test_only_pages_of_opened_runs_are_kept(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """What was looked at besides isn't kept, nor answers of the API or files of an earlier version; of five runs, the last four are."""
    page = open_page("/static/mark.svg", kept=True)
    page.evaluate("() => caches.open('gainwright-static-0.0-earlier')")
    page.goto(f"/jobs/{job}")
    jobs = [job, *(api.post("/api/jobs", json={"like": "one_amplifier"}).json()["id"] for _ in range(4))]
    for opened in jobs:
        kept_run(page, opened)
    page.goto("/bench")
    page.goto(f"/jobs/{jobs[-1]}/chain")
    kept = page.evaluate(
        "async () => (await (await caches.open('gainwright-pages')).keys()).map(({ url }) => new URL(url).pathname)"
    )
    assert {path.split("/")[2] for path in kept if path.startswith("/jobs/")} == set(jobs[1:])
    assert {path for path in kept if not path.startswith(("/jobs/", "/kept/"))} == {"/", "/offline"}
    assert f"/jobs/{jobs[-1]}/chain" not in kept
    assert [name for name in page.evaluate("() => caches.keys()") if name.startswith("gainwright-static-0.0")] == []


def test_full_storage_is_told_and_the_reading_stays(
    open_page: Callable[..., Page], api: httpx.Client, job: str
) -> None:
    """Where the device can't keep a reading, the page says so and leaves it in the field; with a network it is sent."""
    page = open_page(f"/jobs/{job}/setup/{SUPPLY}", size="phone")
    full = "throw new DOMException('full', 'QuotaExceededError');"
    page.evaluate(f"() => {{ IDBObjectStore.prototype.add = () => {{ {full} }}; }}")
    page.context.set_offline(True)
    enter(page, "13,8")
    page.get_by_text("this device can't keep your entry").wait_for()
    assert page.locator("#field").input_value() == "13,8"
    page.context.set_offline(False)
    page.get_by_role("button", name="Enter", exact=True).click()
    page.locator("#found").get_by_text("fits").wait_for()
    assert entered(api, job) == [(SUPPLY, "13,8")]


def test_two_tabs_send_each_entry_once(open_page: Callable[..., Page], api: httpx.Client, job: str) -> None:
    """Entries of two tabs, and one that version 0.1 had kept, are sent once, in their order, and both tabs show it."""
    first = open_page(f"/jobs/{job}/setup/{SUPPLY}")
    forms: list[str] = []
    # of answered forms: one that fails before the network is back reaches nobody
    first.context.on("response", lambda a: forms.append(a.url) if a.request.method == "POST" else None)
    second = first.context.new_page()
    second.goto(f"/jobs/{job}/setup/lead.measuring")
    first.context.set_offline(True)
    old = {"address": f"{first.url.rsplit('/', 1)[0]}/speaker.sub", "page": "/", "at": 1}
    data = [["kind", "reading"], ["seen", "0"], ["text", "3,9"]]
    first.evaluate("kept => localStorage.setItem('not-sent-yet', kept)", json.dumps([{**old, "data": data}]))
    enter(first, "13,9")
    first.get_by_text("waiting to be sent: 13,9").wait_for()
    enter(second, "0,4")
    second.get_by_text("waiting to be sent: 0,4").wait_for()
    assert first.evaluate(ENTRIES) == ["13,9", "0,4"]
    forms.clear()
    first.context.set_offline(False)
    for page in (first, second):
        page.locator("#found").get_by_text(re.compile("fits|than expected|not as expected")).first.wait_for()
    first.reload()
    until(first, f"async () => localStorage.length === 0 && (await ({ENTRIES})()).length === 0")
    assert entered(api, job) == [(SUPPLY, "13,9"), ("lead.measuring", "0,4"), ("speaker.sub", "3,9")]
    assert len(forms) == 3


def test_page_says_that_a_plain_connection_keeps_nothing(browser: Browser, client: TestClient) -> None:
    """Over plain http, from another computer, the third of the three states is shown."""
    context = browser.new_context()
    try:
        page = context.new_page()

        def answer(route: Any) -> None:
            path = route.request.url.removeprefix("http://bench.test")
            found = client.get(path)
            route.fulfill(status=found.status_code, headers=dict(found.headers), body=found.content)

        page.route("http://bench.test/**", answer)
        page.goto("http://bench.test/bench")
        page.locator("#connection").get_by_text("Plain", exact=True).wait_for()
        assert page.locator("#connection [data-state]:visible").count() == 1
    finally:
        context.close()


# ---- cut lines ------------------------------------------------------------------------------------------------------


def planned(api: httpx.Client, job: str) -> list[tuple[str, str, str]]:
    """Return READINGS readings of a run: step, what is typed, and the volts of a row of a column."""
    steps = api.get(f"/api/jobs/{job}/run").json()["steps"]
    expected = {s["id"]: s["expect"] for s in api.get(f"/api/jobs/{job}/plan").json()["steps"]}
    singles = [s["id"] for s in steps if s["asked"] not in ("", "column", "look")]
    columns = [s["id"] for s in steps if s["asked"] == "column"]
    typed = [(step, f"{expected[step]['value']:.3g}", "") for step in singles[:SINGLE]]
    rows = READINGS - len(typed)
    typed += [(columns[i * len(columns) // rows], f"{1 + i}", f"0.{i + 11}") for i in range(rows)]
    return typed


def typed_in(page: Page, job: str, readings: list[tuple[str, str, str]]) -> None:
    """Enter readings on the pages of their steps, wherever these come from."""
    for step, text, volts in readings:
        if not page.url.endswith(f"/{step}"):
            page.goto(f"/jobs/{job}/setup/{step}")
        enter(page, text, volts)
        page.locator("form[aria-busy]").wait_for(state="detached")


def test_fifty_readings_over_a_line_cut_two_hundred_times(server: WebServer, browser: Browser) -> None:
    """Entered offline, while the server is dead, and over a line cut at every stage: each is stored once, in order."""
    line = CuttingProxy(server.port).start()
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, base_url=line.address, service_workers="allow", has_touch=True
    )
    try:
        with server.client() as api:
            job = api.post("/api/jobs", json={"like": "full_range"}).json()["id"]
            readings = planned(api, job)
        context.add_cookies([server.cookie])
        page = context.new_page()
        kept_run(page, job)
        context.set_offline(True)
        typed_in(page, job, readings[:20])
        for cuts in np.random.default_rng(14).integers(len(STAGES), size=(READINGS, CUTS_OF_EACH)):
            line.meet([*(STAGES[cut] for cut in cuts), None])
        context.set_offline(False)
        server.kill()
        typed_in(page, job, readings[20:35])
        server.start()
        typed_in(page, job, readings[35:])
        page.evaluate(AT_ONCE)
        until(page, f"async () => (await ({ENTRIES})()).length === 0", turns=2000)
        assert page.locator("#not-taken").count() == 0
        assert len(line.cuts) == READINGS * CUTS_OF_EACH
        assert set(line.cuts) == set(STAGES)
        with server.client() as api:
            stored = [(step, text.removesuffix(" V")) for step, text in entered(api, job)]
        assert stored == [(step, f"{text} {volts}".strip()) for step, text, volts in readings]
    finally:
        context.close()
        line.stop()
