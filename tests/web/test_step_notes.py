"""Notes and photos at a step of the set-up run, on the page and over HTTP."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import pytest
from browser_acts import click
from PIL import Image

if TYPE_CHECKING:
    from collections.abc import Callable

    import httpx
    from playwright.sync_api import Page

STEP = "prepare.supply"


def photo(width: int, height: int, *, turned: int = 1) -> bytes:
    """Return a JPEG file, red on its left half, that says how it is turned and where it was taken."""
    made = Image.new("RGB", (width, height), "blue")
    made.paste("red", (0, 0, width // 2, height))
    exif = Image.Exif()
    exif[0x0112] = turned
    exif.get_ifd(0x8825)[2] = (52.0, 31.0, 12.5)
    out = io.BytesIO()
    made.save(out, "JPEG", exif=exif.tobytes())
    return out.getvalue()


def test_notes_over_http(api: httpx.Client, job: str) -> None:
    """Added once with a key, listed, shown as nothing but a picture, deleted."""
    notes = f"/api/jobs/{job}/notes"
    sent = {"data": {"step": STEP, "text": "loose", "key": "k"}, "files": {"photo": ("a.jpg", photo(40, 30))}}
    made = [api.post(notes, **sent) for _ in range(2)]  # type: ignore[arg-type]
    assert [answer.status_code for answer in made] == [201, 201]
    assert api.get(notes).json() == [made[0].json()] == [made[1].json()]
    picture = api.get(f"{notes}/{made[0].json()['id']}/photo")
    assert picture.headers["content-type"] == "image/jpeg"
    assert picture.headers["x-content-type-options"] == "nosniff"
    assert "sandbox" in picture.headers["content-security-policy"]
    assert Image.open(io.BytesIO(picture.content)).size == (40, 30)
    assert b"Exif" not in picture.content
    assert api.post(notes, data={"step": "no.step", "text": "x"}).status_code == 404
    wrong = api.post(notes, data={"step": STEP}, files={"photo": ("a.svg", b"<svg/>")})
    assert (wrong.status_code, wrong.json()["code"]) == (422, "no_photo")
    assert api.post(notes, data={"step": STEP}, files={"photo": ("a.jpg", bytes(13_000_000))}).status_code == 413
    assert api.delete(f"{notes}/{made[0].json()['id']}").status_code == 204
    assert api.get(notes).json() == []
    assert api.get(f"{notes}/{made[0].json()['id']}/photo").status_code == 404


def test_handover_shows_photos_and_notes_when_they_are_wanted(api: httpx.Client, job: str) -> None:
    """With the number of their step, and only then."""
    sent = {"data": {"step": STEP, "text": "plug loose"}, "files": {"photo": ("a.jpg", photo(40, 30))}}
    api.post(f"/api/jobs/{job}/notes", **sent).raise_for_status()  # type: ignore[arg-type]
    papers = f"/api/jobs/{job}/papers/handover.html"
    shown = api.get(papers, params={"photos": True}, timeout=60).text
    assert "Step 8: plug loose" in shown
    assert "data:image/jpeg;base64," in shown
    plain = api.get(papers, timeout=60).text
    assert "plug loose" not in plain
    assert "data:image" not in plain


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "plain"])
def test_photo_and_note_at_a_step(
    open_page: Callable[..., Page],
    axe: Callable[[Page], list[str]],
    look: Callable[..., None],
    api: httpx.Client,
    job: str,
    *,
    scripts: bool,
) -> None:
    """Kept, shown upright, deleted; with scripts it is made smaller before it is sent, and a typed reading stays meanwhile."""
    page = open_page(f"/jobs/{job}/setup/{STEP}", size="phone", scripts=scripts)
    page.locator("#field").fill("13.7")
    click(page.get_by_text("Add a photo or a note"))
    page.get_by_label("Photo", exact=True).set_input_files({"name": "p.jpg", "mimeType": "image/jpeg", "buffer": photo(3000, 2000, turned=6)})  # fmt: skip
    page.locator("#notes textarea").fill("plug <b>loose</b>")
    click(page.get_by_role("button", name="Keep", exact=True))
    page.locator("#notes img").wait_for()
    assert "plug <b>loose</b>" in page.locator("#notes").inner_text()
    (kept,) = api.get(f"/api/jobs/{job}/notes").json()
    shown = Image.open(io.BytesIO(api.get(f"/api/jobs/{job}/notes/{kept['id']}/photo").content))
    assert shown.size == ((1067, 1600) if scripts else (3000, 2000))
    seen = page.locator("#notes img").evaluate("i => i.decode().then(() => [i.naturalWidth, i.naturalHeight])")
    assert seen[1] > seen[0]
    if scripts:
        assert page.locator("#field").input_value() == "13.7"
        assert axe(page) == []
        look(page, "setup-notes-phone")
    click(page.locator("#notes").get_by_text("Delete", exact=True))
    click(page.get_by_role("button", name="Delete for good"))
    page.locator("#notes img").wait_for(state="detached")
    assert api.get(f"/api/jobs/{job}/notes").json() == []


def test_refused_note_stays_in_its_field(open_page: Callable[..., Page], job: str) -> None:
    """With the reason, when the file isn't a photo."""
    page = open_page(f"/jobs/{job}/setup/{STEP}", size="phone", scripts=False)
    click(page.get_by_text("Add a photo or a note"))
    page.get_by_label("Photo", exact=True).set_input_files(
        {"name": "p.jpg", "mimeType": "image/jpeg", "buffer": b"no photo"}
    )
    page.locator("#notes textarea").fill("plug loose")
    click(page.get_by_role("button", name="Keep", exact=True))
    page.locator("#notes").get_by_role("alert").get_by_text("this isn't a photo").wait_for()
    assert page.locator("#notes textarea").input_value() == "plug loose"
