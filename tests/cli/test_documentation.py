"""`gainwright docs`: a page of the documentation, by name, in the browser or as a path."""

from __future__ import annotations

import json
import webbrowser
from typing import TYPE_CHECKING

import pytest
from commands import run

from gainwright.adapters import docs_site

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def built(docs_site_folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The site as it is in a wheel."""
    monkeypatch.setattr(docs_site, "SITE", docs_site_folder)
    return docs_site_folder


@pytest.mark.parametrize(
    ("name", "page"),
    [
        ("", "index.html"),
        ("job-file", "job-file.html"),
        ("job file", "job-file.html"),
        ("Job-File.md", "job-file.html"),
        ("decisions/0009-store", "decisions/0009-store.html"),
        ("0009", "decisions/0009-store.html"),
        ("store", "store.html"),
    ],
)
def test_where_prints_the_page(name: str, page: str, built: Path, tmp_path: Path) -> None:
    """A page is named by its path, its last part or the beginning of that, with spaces or hyphens."""
    done = run("docs", *([name] if name else []), "--where", folder=tmp_path)
    assert (done.returncode, done.stdout.strip(), done.stderr) == (0, str(built / page), "")
    assert json.loads(run("docs", *([name] if name else []), "--json", folder=tmp_path).stdout) == {
        "page": str(built / page)
    }


@pytest.mark.parametrize(
    ("name", "told"), [("job-fiel", "did you mean job-file or "), ("zzz", "leave the name out"), ("p", "p may be ")]
)
@pytest.mark.usefixtures("built")
def test_unknown_page_is_refused_with_what_is_close(name: str, told: str, tmp_path: Path) -> None:
    """Status 2 and one sentence: pages with a similar name, those that are meant by half a name, or the contents."""
    done = run("docs", name, "--where", folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert told in done.stderr


@pytest.mark.parametrize("opens", [True, False])
def test_page_is_opened_in_the_browser(
    opens: bool, built: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The browser gets the file; where none can be opened, that is said, and the path is printed."""
    asked: list[str] = []

    def asked_to_open(address: str) -> bool:
        asked.append(address)
        return opens

    monkeypatch.setattr(webbrowser, "open", asked_to_open)
    done = run("docs", "music", folder=tmp_path)
    assert asked == [(built / "music.html").as_uri()]
    assert done.stdout.strip() == str(built / "music.html")
    assert ("no browser could be opened" in done.stderr) == (not opens)


def test_site_that_is_not_built_is_told_with_the_line_that_builds_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From a tree where nobody has built it."""
    monkeypatch.setattr(docs_site, "SITE", tmp_path / "none")
    done = run("docs", folder=tmp_path)
    assert done.returncode == 2
    assert "isn't built" in done.stderr
    assert "python3 tasks.py docs" in done.stderr
