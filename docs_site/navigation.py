"""The order of the pages: `docs/navigation.toml`."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, NamedTuple

from docs_site.problems import SiteError

if TYPE_CHECKING:
    from pathlib import Path


class Section(NamedTuple):
    """A part of the contents: its title and its pages, as paths under `docs` without their suffix."""

    title: str
    pages: tuple[str, ...]


def read_navigation(docs: Path) -> tuple[Section, ...]:
    """Return the sections in order; `NAME/*` stands for every document of a folder.

    Raises
    ------
    SiteError : a document is listed twice or not at all, or what is listed isn't there.
    """
    listed = tomllib.loads((docs / "navigation.toml").read_text(encoding="utf-8"))["section"]
    sections = tuple(
        Section(part["title"], tuple(name for entry in part["pages"] for name in _named(docs, entry)))
        for part in listed
    )
    names = [name for section in sections for name in section.pages]
    there = {path.relative_to(docs).with_suffix("").as_posix() for path in docs.rglob("*.md")}
    wrong = [f"{name}: listed twice" for name in sorted({name for name in names if names.count(name) > 1})]
    wrong += [f"{name}: listed, but docs/{name}.md isn't there" for name in sorted(set(names) - there)]
    wrong += [f"{name}: not listed" for name in sorted(there - set(names))]
    if wrong:
        raise SiteError("docs/navigation.toml:\n" + "\n".join(wrong))
    return sections


def _named(docs: Path, entry: str) -> list[str]:
    if not entry.endswith("/*"):
        return [entry]
    return sorted(path.relative_to(docs).with_suffix("").as_posix() for path in docs.glob(f"{entry}.md"))
