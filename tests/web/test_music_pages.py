"""Music in the browser: folders by name, a scan with progress and a stop button, its result in the job and on the handover."""

from __future__ import annotations

from typing import TYPE_CHECKING

import httpx
import numpy as np
import pytest
import soundfile
from browser_acts import click
from compiled_code import put_compiled_code
from web_server import WebServer

from gainwright.adapters.music_folders import DiskMusicFolders
from gainwright.app.music.folders import chosen_folders
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import Page
    from warm_program import WarmProgram

RATE_HZ = 44_100


def _noise(file: Path, *, seconds: float) -> None:
    noise = 0.12 * np.random.default_rng(len(file.name)).normal(size=(round(seconds * RATE_HZ), 2))
    soundfile.write(file, np.clip(noise, -1, 1), RATE_HZ)


def _library(root: Path) -> None:
    """Make one folder that is quickly read, and one that takes a while: the same long file many times over."""
    for name in ("quick", "long"):
        (root / name).mkdir(parents=True)
    for i in range(3):
        _noise(root / "quick" / f"track {i}.flac", seconds=2 + i)
    (root / "quick" / "notes.flac").write_text("no sound", encoding="utf-8")
    _noise(root / "long" / "0.wav", seconds=120)
    for i in range(1, 120):
        (root / "long" / f"{i}.wav").hardlink_to(root / "long" / "0.wav")


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory, program: WarmProgram) -> Iterator[WebServer]:
    """A server that may look into a folder of music."""
    root = tmp_path_factory.mktemp("library") / "music & <b>more"
    _library(root)
    running = WebServer(tmp_path_factory.mktemp("web"), ("--music", str(root)), program=program)
    put_compiled_code(running.folder / "cache" / "gainwright")
    running.start()
    yield running
    running.stop()


@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_music_is_scanned_for_a_job_and_written_into_it(
    open_page: Callable[..., Page],
    api: httpx.Client,
    job: str,
    axe: Callable[[Page], list[str]],
    look: Callable[..., None],
    size: str,
) -> None:
    """A folder is scanned in the background; the result, with the skipped file's reason, is written into the job and the handover."""
    page = open_page(f"/music?job={job}", size=size)
    assert axe(page) == []
    look(page, f"music-{size}")
    page.get_by_role("checkbox", name="music & <b>more", exact=True).uncheck()
    page.get_by_role("checkbox", name="/ quick").check()
    done = page.get_by_role("link", name="Show the result")
    before = done.count()
    click(page.get_by_role("button", name="Scan"))
    done.nth(before).wait_for(timeout=180_000)
    click(done.first)
    page.get_by_role("heading", name="What this music allows").wait_for()
    assert "notes.flac" in page.locator("main").inner_text()
    assert page.locator("tbody").nth(1).locator("tr").count() == 3
    page.locator("img.drawn").scroll_into_view_if_needed()
    # decode() ends when the picture is there, and throws when it can't be read
    assert page.locator("img.drawn").evaluate("image => image.decode().then(() => image.naturalWidth)") > 100
    assert axe(page) == []
    look(page, f"music-found-{size}")
    with page.expect_response(lambda answer: answer.request.method == "GET" and "/music/" in answer.url):
        click(page.get_by_role("button", name="Save in the job"))
    page.get_by_text("Saved as revision 2.").wait_for()
    music = api.get("/api/music").json()[0]
    assert music["job_id"] == job
    text = api.get(f"/api/jobs/{job}").json()["text"]
    for band, db in music["recommended_db"].items():
        assert f"{band}: {db:g} dB" in text
    handover = api.get(f"/api/jobs/{job}/papers/handover.json").json()
    assert handover["music_db"] == music["recommended_db"]


def test_scan_is_stopped_and_survives_a_reload(open_page: Callable[..., Page], api: httpx.Client) -> None:
    """A scan continues while its page is reloaded; stopped, it ends, and says that the files read so far are cached."""
    page = open_page("/music")
    page.get_by_role("checkbox", name="music & <b>more", exact=True).uncheck()
    page.get_by_role("checkbox", name="/ long").check()
    click(page.get_by_role("button", name="Scan"))
    page.locator("progress").wait_for()
    page.reload()
    click(page.get_by_role("button", name="Stop"))
    page.get_by_text("files read so far are kept").wait_for(timeout=30_000)
    assert api.get("/api/work").json()[0]["state"] == "stopped"


def test_scan_without_scripts(open_page: Callable[..., Page]) -> None:
    """Without scripts the page reloads until it is done."""
    page = open_page("/music", scripts=False)
    page.get_by_role("checkbox", name="music & <b>more", exact=True).uncheck()
    page.get_by_role("checkbox", name="/ quick").check()
    finished = page.get_by_role("link", name="Show the result")
    before = finished.count()
    click(page.get_by_role("button", name="Scan"))
    for _ in range(200):
        if finished.count() > before:
            break
        page.wait_for_timeout(200)
        click(page.get_by_role("link", name="Refresh").first)
    click(finished.first)
    assert "What this music allows" in page.locator("h1").inner_text()


def test_only_known_folders_are_scanned(api: httpx.Client) -> None:
    """A path, an unknown id, no folder at all: refused with one sentence; full paths are never shown."""
    for asked in (["/etc"], ["../../.."], ["0123456789abcdef"], []):
        answer = api.post("/api/music", json={"folders": asked})
        assert answer.status_code in (404, 422)
        assert answer.json()["what"]
    listed = api.get("/api/music/folders").json()
    assert all("/tmp" not in folder["name"] for folder in listed)  # noqa: S108  it is looked for, not used


def test_folder_is_added_and_left_out_on_the_page(api: httpx.Client, server: WebServer, tmp_path: Path) -> None:
    """A folder that is added is listed, kept for the next start, and gone when it is left out; a wrong path is one sentence."""
    for wrong in ("", "  ", str(tmp_path / "nowhere"), "~nobody-of-that-name/music"):
        refused = api.post("/music/folders", data={"path": wrong})
        assert refused.status_code == 422, wrong
        assert "folder" in refused.text
    (tmp_path / "stick").mkdir()
    assert api.post("/music/folders", data={"path": str(tmp_path / "stick")}).status_code == 303
    names = [folder["name"] for folder in api.get("/api/music/folders").json()]
    assert "stick" in names
    server.stop()
    server.start()
    listed = {folder["name"]: folder["id"] for folder in api.get("/api/music/folders").json()}
    assert list(listed) == names
    assert api.post("/music/folders", data={"remove": listed["stick"]}).status_code == 303
    assert "stick" not in [folder["name"] for folder in api.get("/api/music/folders").json()]
    assert str(tmp_path / "stick") not in api.get("/music").text


def test_folders_are_the_roots_and_their_direct_subfolders(tmp_path: Path) -> None:
    """Hidden folders, files and deeper folders aren't listed; an unknown id is refused."""
    (tmp_path / "a" / "deep").mkdir(parents=True)
    (tmp_path / ".hidden").mkdir()
    (tmp_path / "file.flac").touch()
    listed = DiskMusicFolders().list([str(tmp_path)])
    assert [folder.path for folder in listed] == [str(tmp_path), str(tmp_path / "a")]
    assert [folder.path for folder in chosen_folders(listed, [listed[1].id])] == [str(tmp_path / "a")]
    with pytest.raises(CallError):
        chosen_folders(listed, ["nothing"])
