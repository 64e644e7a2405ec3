"""The whole site: every page in the layout, pictures, the search index; broken links stop it."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from docs_site.navigation import Section, read_navigation
from docs_site.pages import Page, read_page
from docs_site.problems import SiteError
from docs_site.public_face import public_face

if TYPE_CHECKING:
    from collections.abc import Mapping

THEME = Path(__file__).resolve().parent / "theme"
PARTS = ("site.css", "site.js")
"""Files of the theme that go into the site as they are."""
MARK = "src/gainwright/web/static/mark.svg"
"""The app's own mark, in the browser's tab of these pages too."""
API = "<!-- the public face -->"
"""A line in a document in whose place the public functions are told, from their docstrings."""


class Built(NamedTuple):
    """A site that was built: the pages by name, and whether anything had to be written."""

    pages: dict[str, Page]
    written: bool


def build_site(tree: Path, out: Path, *, version: str) -> Built:
    """Build the site of a source tree into a folder, which is replaced unless it was made from the same.

    Parameters
    ----------
    tree : the folder that holds `docs` and `src`.
    version : printed at the foot of each page.

    Raises
    ------
    SiteError : a link, an anchor, a picture or a page of the contents leads nowhere.
    """
    docs = tree / "docs"
    sections = read_navigation(docs)
    names = [name for section in sections for name in section.pages]
    texts = {name: (docs / f"{name}.md").read_text(encoding="utf-8") for name in names}
    pages = {name: read_page(name, _filled(text, tree)) for name, text in texts.items()}
    _check(docs, pages)
    files = _files(docs, sections, pages, version)
    if (tree / MARK).is_file():
        files["mark.svg"] = (tree / MARK).read_bytes()
    stamp = hashlib.sha256(b"".join(name.encode() + b"\0" + files[name] + b"\0" for name in sorted(files))).hexdigest()
    stamped = out / ".made-from"
    if stamped.is_file() and stamped.read_text(encoding="utf-8") == stamp:
        return Built(pages, written=False)
    if out.exists():
        shutil.rmtree(out)
    for name, content in files.items():
        (out / name).parent.mkdir(parents=True, exist_ok=True)
        (out / name).write_bytes(content)
    stamped.write_text(stamp, encoding="utf-8")
    return Built(pages, written=True)


def _filled(text: str, tree: Path) -> str:
    return text.replace(API, public_face(tree / "src")) if API in text else text


def _check(docs: Path, pages: Mapping[str, Page]) -> None:
    wrong = []
    for page in pages.values():
        for link in page.links:
            if link.page not in pages:
                wrong.append(f"docs/{page.name}.md: no document {link.page}.md")
            elif link.anchor and link.anchor not in pages[link.page].anchors:
                wrong.append(f"docs/{page.name}.md: no heading #{link.anchor} in {link.page}.md")
        wrong += [f"docs/{page.name}.md: no picture {name}" for name in page.pictures if not (docs / name).is_file()]
    if wrong:
        raise SiteError("\n".join(wrong))


def _files(docs: Path, sections: tuple[Section, ...], pages: Mapping[str, Page], version: str) -> dict[str, bytes]:
    """Return every file of the site by its path."""
    templates = Environment(loader=FileSystemLoader(THEME), autoescape=True, undefined=StrictUndefined)
    templates.trim_blocks = templates.lstrip_blocks = True
    layout = templates.get_template("page.html")
    files = {name: (THEME / name).read_bytes() for name in PARTS}
    order = [pages[name] for section in sections for name in section.pages]
    for page, before, after in zip(order, [None, *order], [*order[1:], None], strict=False):
        drawn = layout.render(
            page=page, pages=pages, sections=sections, before=before, after=after, version=version, here=_section
        )
        files[page.url] = drawn.encode()
    for name in sorted({name for page in pages.values() for name in page.pictures}):
        files[name] = (docs / name).read_bytes()
    index = [[p.url, p.title, [list(part) for part in p.parts]] for p in order]
    files["search-index.js"] = f"window.searchIndex = {json.dumps(index, ensure_ascii=False)};\n".encode()
    return files


def _section(section: Section, page: Page) -> bool:
    return page.name in section.pages
