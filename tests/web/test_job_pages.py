"""Jobs from an example or a file to the file again: at phone and desktop size, with and without scripts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from browser_acts import EACH_SIZE_AND_WAY, click

from gainwright.jobfile import example_text, examples

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import httpx
    from playwright.sync_api import Page
    from web_server import WebServer


@EACH_SIZE_AND_WAY
def test_job_is_created_copied_deleted_and_restored(
    open_page: Callable[..., Page], server: WebServer, *, size: str, scripts: bool
) -> None:
    """A job is created from an example, copied, deleted, and restored by undo."""
    page = open_page("/", size=size, scripts=scripts)
    page.get_by_role("radio").nth(1).check()
    click(page.get_by_role("button", name="Create job"))
    title = page.get_by_role("heading", level=1).inner_text()
    assert title in example_text(list(examples())[1])
    click(page.get_by_role("button", name="Duplicate"))
    assert page.get_by_role("heading", level=1).inner_text() == f"{title} (copy)"
    address = page.url
    click(page.get_by_role("button", name="Delete"))
    assert f"{title} (copy) was deleted" in page.locator("main").inner_text()
    assert page.locator(f'.rows a.main[href="{address.removeprefix(server.address)}"]').count() == 0
    click(page.get_by_role("button", name="Undo"))
    assert page.get_by_role("heading", level=1).inner_text() == f"{title} (copy)"
    click(page.get_by_role("button", name="Archive"))
    page.goto("/?shelf=archived")
    assert page.locator(f'a.main[href="{address.removeprefix(server.address)}"]').count() == 1


def test_job_is_found_by_any_word_while_it_is_typed(open_page: Callable[..., Page], api: httpx.Client) -> None:
    """The list follows what is typed; every word must occur in the title or the file."""
    for title in ("Grüner Kombi, Kunde Öztürk", "Green van, ward seven"):
        text = example_text("two_way_and_sub").splitlines()
        text = [f"title: {title}" if line.startswith("title:") else line for line in text]
        api.post("/api/jobs", json={"text": "\n".join(text) + "\n"}).raise_for_status()
    page = open_page("/")
    page.get_by_label("Search jobs").fill("öztürk kombi")
    page.get_by_role("link", name="Green van, ward seven").wait_for(state="detached")
    assert page.get_by_role("link", name="Grüner Kombi").count() == 1
    page.get_by_label("Search jobs").fill("kombi ward")
    page.get_by_text("No job matches all these words").wait_for()


def test_uploaded_file_is_downloaded_unchanged(open_page: Callable[..., Page], tmp_path: Path) -> None:
    """Byte for byte, with its comments."""
    text = example_text("two_way_and_sub") + "# a last word\n"
    path = tmp_path / "car.yaml"
    path.write_text(text, encoding="utf-8", newline="\n")
    page = open_page("/")
    page.get_by_label("Or from a job file").set_input_files(path)
    click(page.get_by_role("button", name="Upload"))
    with page.expect_download() as download:
        page.get_by_role("link", name="Job file").click()
    assert (download.value.path()).read_text(encoding="utf-8") == text
    assert download.value.suggested_filename.endswith(".yaml")


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"format: 1\ntitle: x\nstages:\n  head: {kind: hed_unit}\n", "did you mean head_unit"),
        (b"\xff\xfe\x00\x01", "isn't UTF-8 text"),
        (b"", "car.yaml"),
        (b"a: [1", "car.yaml"),
    ],
)
def test_bad_upload_is_reported_with_location(
    open_page: Callable[..., Page], tmp_path: Path, content: bytes, told: str
) -> None:
    """A file that is no job is refused with the location of the error, and nothing is stored."""
    path = tmp_path / "car.yaml"
    path.write_bytes(content)
    page = open_page("/")
    before = page.locator(".rows > li").count()
    page.get_by_label("Or from a job file").set_input_files(path)
    click(page.get_by_role("button", name="Upload"))
    assert told in page.get_by_role("alert").inner_text()
    assert page.locator(".rows > li").count() == before


def test_markup_in_a_title_is_text(open_page: Callable[..., Page], api: httpx.Client) -> None:
    """Markup in a title is shown as typed and has no effect."""
    hostile = "<img src=x onerror=alert(1)><b>bold</b> {{ 7*7 }}"
    text = example_text("two_way_and_sub").splitlines()
    text = [f'title: "{hostile}"' if line.startswith("title:") else line for line in text]
    job = api.post("/api/jobs", json={"text": "\n".join(text) + "\n"}).json()["id"]
    page = open_page(f"/jobs/{job}")
    assert page.get_by_role("heading", level=1).inner_text() == hostile
    assert page.locator("main img").count() == 0


def test_pages_are_accessible_and_small(
    open_page: Callable[..., Page],
    both_sizes: Callable[..., None],
    day_and_night: Callable[..., None],
    job: str,
) -> None:
    """The list and a job conform to WCAG 2.2 AA as far as axe can check, in light and dark mode; a first visit takes under 150 kB."""
    page = open_page("/", size="phone", own_page=True)
    day_and_night(page, "jobs")
    sizes = page.evaluate(
        "[...performance.getEntriesByType('resource'), ...performance.getEntriesByType('navigation')].map(e => e.transferSize)"
    )
    assert 0 < sum(sizes) < 150_000
    page.goto(f"/jobs/{job}")
    both_sizes(page, "job")
    page.goto("/nothing/here")
    both_sizes(page, "no-page")
    assert "this page doesn't exist" in page.locator("main").inner_text()


def test_stale_writer_is_refused_and_loses_nothing(api: httpx.Client, job: str) -> None:
    """A write based on an older revision gets 409, and the newer text stays."""
    first = api.get(f"/api/jobs/{job}").json()
    newer = first["text"] + "# newer\n"
    assert api.put(f"/api/jobs/{job}/text", json={"text": newer, "seen": first["revision"]}).status_code == 200
    refused = api.put(f"/api/jobs/{job}/text", json={"text": first["text"], "seen": first["revision"]})
    assert refused.status_code == 409
    assert refused.json()["what"]
    assert api.get(f"/api/jobs/{job}").json()["text"] == newer
    now = api.get(f"/api/jobs/{job}").json()["revision"]
    back = api.post(f"/api/jobs/{job}/undo", json={"seen": now}).json()
    assert back["text"] == first["text"]
    assert back["redoable"] == 1
    again = api.post(f"/api/jobs/{job}/redo", json={"seen": back["revision"]}).json()
    assert again["text"] == newer
