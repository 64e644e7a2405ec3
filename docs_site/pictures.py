"""Takes the pictures of the documents from the app's own pages, in Chromium: `python3 tasks.py docs --pictures`.

What each page said then, and a digest of its picture, are kept in `docs/pictures/taken.json`; tests compare them with what the
page says now and with the picture, so that one of a page that has changed since, or another picture, is noticed, and taken again.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
import shutil
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from html import unescape
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

FOLDER = Path(__file__).resolve().parent.parent / "docs" / "pictures"
TAKEN = FOLDER / "taken.json"
SIZE = {"width": 390, "height": 720}
QUALITY = 55


class Picture(NamedTuple):
    """A page to be taken: an example, its path with `JOB` for the job's id, and what is scrolled to."""

    like: str
    path: str
    to: str = "body"


PICTURES = {
    "jobs": Picture("", "/"),
    "chain": Picture("two_way_and_sub", "/jobs/JOB/chain"),
    "corridor": Picture("one_amplifier", "/jobs/JOB/corridor", "main"),
    "set-up": Picture("one_amplifier", "/jobs/JOB/setup", "main"),
    "set-up-step": Picture("one_amplifier", "/jobs/JOB/setup/amplifier.amp", "main"),
    "fault": Picture("two_way_and_sub", "/jobs/JOB/fault", "main"),
    "practise": Picture("", "/practise", "main"),
}


def said(page: str) -> list[str]:
    """Return what a page is recognised by: its headings, legends and labels."""
    found = re.findall(r"<(h1|h2|legend|label)\b[^>]*>(.*?)</\1>", page, re.DOTALL)
    words = [" ".join(unescape(re.sub(r"<[^>]+>", " ", inner)).split()) for _, inner in found]
    return [text for text in words if text]


def digest_of(name: str) -> str:
    """Return the digest of a picture's file."""
    return hashlib.sha256((FOLDER / f"{name}.webp").read_bytes()).hexdigest()


def page_of(picture: Picture, new_job: Callable[[str], str], known: dict[str, str]) -> str:
    """Return the path of a picture's page; a job is made by the first picture that needs its example."""
    if picture.like and picture.like not in known:
        known[picture.like] = new_job(picture.like)
    return picture.path.replace("JOB", known.get(picture.like, ""))


def main() -> int:
    """Take every picture."""
    import httpx
    from PIL import Image
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium-headless-shell") or shutil.which("chromium")
    taken: dict[str, dict[str, Any]] = {}
    jobs: dict[str, str] = {}
    with _served() as (address, token), sync_playwright() as playwright:
        api = httpx.Client(base_url=address, headers={"authorization": f"Bearer {token}"}, timeout=60)

        def new_job(like: str) -> str:
            return str(api.post("/api/jobs", json={"like": like}).json()["id"])

        flags = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
        browser = playwright.chromium.launch(executable_path=chromium, args=flags)
        context = browser.new_context(
            viewport=SIZE,  # type: ignore[arg-type]
            device_scale_factor=2,
            locale="en",
            color_scheme="light",
            reduced_motion="reduce",
            service_workers="block",
            extra_http_headers={"authorization": f"Bearer {token}"},
        )
        page = context.new_page()
        for name, picture in PICTURES.items():
            path = page_of(picture, new_job, jobs)
            page.goto(address + path)
            page.locator(picture.to).first.evaluate("element => element.scrollIntoView()")
            page.wait_for_timeout(500)  # charts and follow-ups
            drawn = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
            drawn.save(FOLDER / f"{name}.webp", quality=QUALITY, method=6)
            taken[name] = {"file": digest_of(name), "said": said(api.get(path).text)}
            size = (FOLDER / f"{name}.webp").stat().st_size
            sys.stdout.write(f"{name}.webp  {size // 1000} kB\n")
        browser.close()
    TAKEN.write_text(json.dumps(taken, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    return 0


@contextmanager
def _served() -> Iterator[tuple[str, str]]:
    """Serve the app with an empty store; yield its address and token."""
    with tempfile.TemporaryDirectory() as folder:
        command = (sys.executable, "-m", "gainwright", "serve", "--no-browser", "--port", "0")
        store = str(Path(folder) / "store.sqlite")
        process = subprocess.Popen((*command, "--store", store), stderr=subprocess.PIPE, text=True)  # noqa: S603
        try:
            for line in process.stderr or ():
                if found := re.search(r"(http://127.0.0.1:\d+)/\?token=(\S+)", line):
                    yield found[1], found[2]
                    break
        finally:
            process.terminate()
            process.wait(20)


if __name__ == "__main__":
    raise SystemExit(main())
