"""The documentation site: it is built from docs/, whole, without a broken link and without anything from elsewhere."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from docs_site import SiteError, build_site, read_page
from docs_site.pictures import PICTURES, TAKEN, digest_of

if TYPE_CHECKING:
    from docs_site import Built

TREE = Path(__file__).resolve().parents[2]


class Addresses(HTMLParser):
    """Collects what a page loads, what it links to, its ids, and whatever of it is code within the page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.loads: list[str] = []
        self.links: list[str] = []
        self.ids: set[str] = set()
        self.inline: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Sort the attributes of a tag."""
        given = {name: value or "" for name, value in attrs}
        self.loads += [given[name] for name in ("src", "srcset", "data", "poster") if name in given]
        if "href" in given:
            (self.links if tag == "a" else self.loads).append(given["href"])
        self.ids |= {given["id"]} if "id" in given else set()
        if tag == "style" or "style" in given or (tag == "script" and "src" not in given):
            self.inline.append(tag)
        self.inline += [name for name in given if name.startswith("on")]


@pytest.fixture(scope="module")
def site(docs_site_folder: Path) -> Path:
    """The site of this tree, built."""
    return docs_site_folder


@pytest.fixture(scope="module")
def pages(site: Path) -> dict[str, Addresses]:
    """Every page of the site by its path."""
    return {
        path.relative_to(site).as_posix(): Addresses(path.read_text(encoding="utf-8")) for path in site.rglob("*.html")
    }


def test_every_document_is_a_page(site: Path) -> None:
    """Each Markdown file under docs/ has its page, and the contents of every page lead to all of them."""
    documents = {path.relative_to(TREE / "docs").with_suffix("").as_posix() for path in (TREE / "docs").rglob("*.md")}
    assert len(documents) > 30
    assert {path.relative_to(site).with_suffix("").as_posix() for path in site.rglob("*.html")} == documents
    contents = Addresses((site / "words.html").read_text(encoding="utf-8")).links
    assert documents <= {link.removesuffix(".html") for link in contents}


def test_every_link_and_anchor_leads_somewhere(site: Path, pages: dict[str, Addresses]) -> None:
    """Checked on the finished pages, with a parser of its own: each link is a file of the site, each anchor an id there."""
    seen = 0
    for name, page in pages.items():
        for target in page.links + page.loads:
            path, _, anchor = target.partition("#")
            there = (site / name).parent.joinpath(path).resolve() if path else site / name
            assert there.is_relative_to(site.resolve()) or not path, f"{name}: {target}"
            assert there.is_file(), f"{name}: {target}"
            if anchor:
                assert anchor in pages[there.relative_to(site.resolve()).as_posix() if path else name].ids, target
            seen += 1
    assert seen > 1000


def test_nothing_comes_from_elsewhere_and_nothing_is_inline(site: Path, pages: dict[str, Addresses]) -> None:
    """No page, style sheet or script names an address that is loaded; the policy of the web app forbids inline code."""
    for name, page in pages.items():
        assert [target for target in page.loads if re.match(r"[a-z]+:|//", target)] == [], name
        assert page.inline == [], name
    for file in ("site.css", "site.js"):
        assert "//" not in re.sub(r"^\s*//.*$", "", (site / file).read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert not re.search(r"url\(|@import", (site / "site.css").read_text(encoding="utf-8"))


def test_search_index_holds_every_heading(site: Path, pages: dict[str, Addresses]) -> None:
    """The index is a script (a page from the disk can fetch nothing); each of its entries is a page and an id on it."""
    text = (site / "search-index.js").read_text(encoding="utf-8")
    index = json.loads(text.removeprefix("window.searchIndex = ").removesuffix(";\n"))
    assert {url for url, *_ in index} == set(pages)
    for url, _, parts in index:
        assert {anchor for anchor, *_ in parts} <= pages[url].ids
    (words,) = (parts for url, _, parts in index if url == "power.html")
    assert any("alternator_small" in below for _, _, below in words)


def test_public_functions_are_told_from_their_docstrings(site: Path) -> None:
    """Every public name has its entry, with what its docstring says of arguments and errors."""
    import gainwright

    told = (site / "api.html").read_text(encoding="utf-8")
    names = [name for name in gainwright.__all__ if not name.startswith("_")]
    assert sorted(re.findall(r"<h3 id=[^>]+>(\w+)</h3>", told)) == sorted(names)
    assert "<li><code>tone_hz</code>: 1 Hz to 100 kHz.</li>" in told
    assert "<code>RecordingError</code>: it can't be read" in told


def test_pictures_are_those_that_the_task_takes() -> None:
    """Each is the one that the task took, shown in a document, and told of in words; together they stay small."""
    there = {path.stem: path for path in (TREE / "docs").rglob("*") if path.suffix in {".webp", ".png", ".jpg", ".svg"}}
    taken = json.loads(TAKEN.read_text(encoding="utf-8"))
    assert set(there) == set(PICTURES) == set(taken)
    assert {name: digest_of(name) for name in there} == {name: told["file"] for name, told in taken.items()}
    texts = "".join(path.read_text(encoding="utf-8") for path in (TREE / "docs").rglob("*.md"))
    shown = re.findall(r"!\[(.+)\]\((?:\.\./)*pictures/([\w-]+)\.webp\)", texts)
    assert {name for _, name in shown} == set(there)
    assert min(len(words.split()) for words, _ in shown) > 3
    assert sum(path.stat().st_size for path in there.values()) < 2_000_000


def _tree(folder: Path, **documents: str) -> Path:
    for name, text in documents.items():
        (folder / "docs").mkdir(exist_ok=True)
        (folder / "docs" / f"{name}.md").write_text(text, encoding="utf-8")
    listed = ", ".join(f'"{name}"' for name in documents)
    navigation = f'[[section]]\ntitle = "All"\npages = [{listed}]\n'
    (folder / "docs" / "navigation.toml").write_text(navigation, encoding="utf-8")
    return folder


def _built(folder: Path) -> Built:
    return build_site(folder, folder / "out", version="0")


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("# A\n[b](b.md#no)\n", "docs/a.md: no heading #no in b.md"),
        ("# A\n[c](c.md)\n", "docs/a.md: no document c.md"),
        ("# A\n[a](#nowhere)\n", "docs/a.md: no heading #nowhere in a.md"),
        ("# A\n![c](c.webp)\n", "docs/a.md: no picture c.webp"),
        ("# A\n[r](../README.md)\n", "isn't in docs"),
        ("# A\n[r](x.txt)\n", "name a document of docs"),
        ("no heading\n", "one heading of the first level"),
        ("# A\n\n# A again\n", "one heading of the first level"),
    ],
)
def test_broken_documents_stop_the_build(text: str, wrong: str, tmp_path: Path) -> None:
    """A link, an anchor or a picture that leads nowhere is named with its document."""
    with pytest.raises(SiteError, match=re.escape(wrong)):
        _built(_tree(tmp_path, a=text, b="# B\n\n## Here\n"))


def test_contents_name_every_document_once(tmp_path: Path) -> None:
    """A document that isn't listed, one that isn't there, and one that is listed twice are named."""
    tree = _tree(tmp_path, a="# A\n", b="# B\n")
    navigation = tree / "docs" / "navigation.toml"
    navigation.write_text('[[section]]\ntitle = "All"\npages = ["a", "a", "c"]\n', encoding="utf-8")
    with pytest.raises(SiteError) as raised:
        _built(tree)
    assert [line.split(":")[0] for line in str(raised.value).splitlines()[1:]] == ["a", "c", "b"]


def test_site_is_written_again_only_after_a_change(tmp_path: Path) -> None:
    """The same documents leave the site as it is; a changed one replaces it, with nothing left of a page that is gone."""
    tree = _tree(tmp_path, a="# A\n\n[b](b.md#here)\n", b="# B\n\n## Here\n")
    assert _built(tree).written
    assert not _built(tree).written
    assert (tree / "out" / "b.html").is_file()
    (tree / "docs" / "b.md").unlink()
    assert _built(_tree(tree, a="# A\n")).written
    assert not (tree / "out" / "b.html").exists()


def test_headings_links_and_blocks_become_html() -> None:
    """Anchors are those of code hosts; links name pages; typed lines, output and raw HTML are told apart."""
    text = "# One `two`, three!\n\n[x](other.md#y)\n\n```console\n$ do it\ndone <b>\n```\n\n<script>x</script>\n\n## A\n\n## A\n"
    page = read_page("folder/name", text)
    assert (page.title, page.up, page.url) == ("One two, three!", "../", "folder/name.html")
    assert page.anchors == {"one-two-three", "a", "a-1"}
    assert page.links == [("folder/other", "y")]
    assert 'href="other.html#y"' in page.html
    assert "<kbd>do it\n</kbd><samp>done &lt;b&gt;\n</samp>" in page.html
    assert "<script>" not in page.html
    assert page.parts[0].text == "x $ do it done <b> <script>x</script>"


def test_reference_holds_every_command() -> None:
    """docs/commands.md shows the help of each command and of each of its own; the examples' test compares what they print."""
    from typer.main import get_command

    import gainwright.cli.main  # noqa: F401  it registers the commands
    from gainwright.cli.base import app

    commands = get_command(app).commands  # type: ignore[attr-defined]
    names = set(commands) | {f"{name} {own}" for name, c in commands.items() for own in getattr(c, "commands", {})}
    text = (TREE / "docs" / "commands.md").read_text(encoding="utf-8")
    assert set(re.findall(r"^\$ gainwright (.+) --help$", text, re.MULTILINE)) == names
