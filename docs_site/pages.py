"""One document as a page: HTML, anchors, links, pictures, and its sections for the search."""

from __future__ import annotations

import posixpath
import re
from dataclasses import dataclass, field
from html import escape
from typing import TYPE_CHECKING, NamedTuple

from markdown_it import MarkdownIt
from pygments import highlight
from pygments.formatters import HtmlFormatter
from pygments.lexers import get_lexer_by_name
from pygments.util import ClassNotFound

from docs_site.problems import SiteError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from markdown_it.token import Token

COLOURED = {"yaml", "python", "json", "toml", "sh"}
"""Languages of fenced blocks that are coloured; `console` has its own layout."""


class Link(NamedTuple):
    """A link inside the site: the page it leads to (a name), and the anchor there, which may be empty."""

    page: str
    anchor: str


class Part(NamedTuple):
    """What the search finds: a heading with its anchor, and the text below it."""

    anchor: str
    heading: str
    text: str


@dataclass
class Page:
    """A page of the site; `name` is its path under `docs` without the suffix."""

    name: str
    title: str = ""
    html: str = ""
    anchors: set[str] = field(default_factory=set)
    links: list[Link] = field(default_factory=list)
    pictures: list[str] = field(default_factory=list)
    headings: list[tuple[str, str, str]] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)

    @property
    def url(self) -> str:
        """Where the page is in the site."""
        return f"{self.name}.html"

    @property
    def outline(self) -> list[tuple[str, str]]:
        """The anchors and words of the headings of the second level."""
        return [(anchor, words) for tag, anchor, words in self.headings if tag == "h2"]

    @property
    def up(self) -> str:
        """What leads from the page to the top of the site."""
        return "../" * self.name.count("/")


def read_page(name: str, text: str) -> Page:
    """Return a document as a page.

    Raises
    ------
    SiteError : it doesn't begin with one heading of the first level, or a link leads out of `docs`.
    """
    parser = MarkdownIt("commonmark", {"html": False}).enable("table")
    parser.add_render_rule("fence", _fence)
    parser.add_render_rule("table_open", lambda *_: '<div class="wide" tabindex="0"><table>\n')
    parser.add_render_rule("table_close", lambda *_: "</table></div>\n")
    tokens = parser.parse(text)
    page = Page(name)
    _name_headings(page, tokens)
    for token in tokens:
        for inner in token.children or ():
            _lead(page, inner)
    page.html = parser.renderer.render(tokens, parser.options, {})
    return page


def slug(heading: str) -> str:
    """Return a heading's anchor, as code hosts make it of Markdown: lower case, hyphens for spaces, no signs."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def _name_headings(page: Page, tokens: Sequence[Token]) -> None:
    below: list[str] = []
    for before, token, content in zip([None, *tokens], tokens, [*tokens[1:], None], strict=False):
        if token.type == "heading_open" and content is not None:
            words = _plain(content)
            anchor = _free(page, slug(words))
            page.anchors.add(anchor)
            token.attrSet("id", anchor)
            page.headings.append((token.tag, anchor, words))
            below.append("")
        elif token.type in {"inline", "fence"} and below and getattr(before, "type", "") != "heading_open":
            below[-1] += f" {_plain(token)}"
    if [tag for tag, *_ in page.headings].count("h1") != 1 or page.headings[0][0] != "h1":
        raise SiteError(f"docs/{page.name}.md: begin with one heading of the first level")
    page.title = page.headings[0][2]
    page.parts = [
        Part(*heading[1:], " ".join(text.split())) for heading, text in zip(page.headings, below, strict=True)
    ]


def _free(page: Page, anchor: str) -> str:
    """Return an anchor that no earlier heading of the page has."""
    numbered = (f"{anchor}-{number}" for number in range(1, 100))
    return anchor if anchor not in page.anchors else next(name for name in numbered if name not in page.anchors)


def _plain(token: Token) -> str:
    """Return the text of a token as it is read."""
    if token.children is None:
        return token.content
    return "".join(_words(token.children))


def _words(tokens: Sequence[Token]) -> Iterator[str]:
    for token in tokens:
        if token.type in {"softbreak", "hardbreak"}:
            yield " "
        elif token.type in {"text", "code_inline", "image"}:
            yield token.content


def _lead(page: Page, token: Token) -> None:
    """Note a link or a picture, and make a document's name that of its page."""
    if token.type == "image":
        source = str(token.attrs["src"])
        page.pictures.append(posixpath.normpath(posixpath.join(posixpath.dirname(page.name), source)))
        token.attrSet("loading", "lazy")
    if token.type != "link_open":
        return
    target = str(token.attrs["href"])
    if re.match(r"[a-z]+:", target):
        return
    path, _, anchor = target.partition("#")
    if path and not path.endswith(".md"):
        raise SiteError(f"docs/{page.name}.md: a link to {target}; name a document of docs")
    there = posixpath.normpath(posixpath.join(posixpath.dirname(page.name), path)) if path else f"{page.name}.md"
    if there.startswith(".."):
        raise SiteError(f"docs/{page.name}.md: {target} isn't in docs and won't be in the site")
    page.links.append(Link(there.removesuffix(".md"), anchor))
    token.attrSet("href", (path.removesuffix(".md") + ".html" if path else "") + (f"#{anchor}" if anchor else ""))


def _fence(_renderer: object, tokens: Sequence[Token], at: int, *_: object) -> str:
    language, content = tokens[at].info.strip(), tokens[at].content
    if language == "console":
        inner = "".join(_console_line(line) for line in content.splitlines(keepends=True))
    elif language in COLOURED:
        inner = _coloured(content, language)
    else:
        inner = escape(content)
    return f'<pre class="{escape(language) or "plain"}" tabindex="0"><code>{inner}</code></pre>\n'


def _console_line(line: str) -> str:
    if not line.startswith("$ "):
        return f"<samp>{escape(line)}</samp>"
    return f'<span class="prompt">$ </span><kbd>{escape(line[2:])}</kbd>'


def _coloured(content: str, language: str) -> str:
    try:
        lexer = get_lexer_by_name(language, stripnl=False)
    except ClassNotFound:
        return escape(content)
    coloured: str = highlight(content, lexer, HtmlFormatter(nowrap=True, classprefix="k-"))
    return coloured
