"""Pages in German: no English sentence is left on them, and each text that German has is used where it is printed."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    import httpx

ENGLISH = re.compile(
    r"\b(the|and|of|with|is|are|your|this|that|not|to|from|at|for|by|it|each|before|what|where|reading|expected)\b"
)
"""Words that no German sentence has."""
AS_TYPED = re.compile(
    r"two-way front and one subwoofer|^two way and sub$|[a-z-]+ [0-9]+ at [0-9.]+ k?Hz|such as|peak \+6 dB at"
)
"""The title of the job, and values as a job file writes them."""
PAGES = (
    *("/", "/cases", "/cases/tally", "/music", "/practise", "/practise/class", "/bench", "/jobs/start"),
    *("/jobs/{job}", "/jobs/{job}/chain", "/jobs/{job}/chain/text", "/jobs/{job}/chain/add", "/jobs/{job}/corridor"),
    *("/jobs/{job}/setup", "/jobs/{job}/setup?short=true", "/jobs/{job}/setup/prepare.supply", "/jobs/{job}/takeover"),
    *("/jobs/{job}/setup/amplifier.amp_sub", "/jobs/{job}/setup/restore.desk.sub.low_pass", "/jobs/{job}/fault"),
    *("/jobs/{job}/live", "/jobs/{job}/papers", "/jobs/{job}/start/devices"),
)


class _Texts(HTMLParser):
    """The texts of a page that a person sees or hears."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._skipped = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._skipped += tag in ("script", "style", "pre", "textarea", "code")
        self.found += [value for name, value in attrs if name in ("aria-label", "alt", "placeholder") and value]

    def handle_endtag(self, tag: str) -> None:
        self._skipped -= tag in ("script", "style", "pre", "textarea", "code")

    def handle_data(self, data: str) -> None:
        if not self._skipped and data.strip():
            self.found.append(" ".join(data.split()))


def texts(page: str) -> list[str]:
    """Return the texts of a page."""
    parser = _Texts()
    parser.feed(page)
    return parser.found


@pytest.mark.parametrize("path", PAGES)
def test_no_english_is_left_on_a_german_page(api: httpx.Client, german_job: str, path: str) -> None:
    """Asked for German, no text of the page is English; asked for English, the same search finds it."""
    address = path.format(job=german_job)
    german = api.get(address, headers={"accept-language": "de"})
    assert german.status_code == 200
    assert '<html lang="de"' in german.text
    assert [t for t in texts(german.text) if ENGLISH.search(t) and not AS_TYPED.search(t)] == []
    english = texts(api.get(address, headers={"accept-language": "en"}).text)
    assert any(ENGLISH.search(t) for t in english)


@pytest.fixture(scope="module")
def german_job(server: object) -> str:
    """One job for all pages."""
    with server.client() as client:  # type: ignore[attr-defined]
        return str(client.post("/api/jobs", json={"like": "two_way_and_sub"}).json()["id"])
