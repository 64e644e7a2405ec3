"""Where the documentation site is: in the package, put there when its wheel was built or by `python3 tasks.py docs`."""

from __future__ import annotations

import difflib
from pathlib import Path

from gainwright.errors import CallError
from gainwright.texts import say

SITE = Path(__file__).resolve().parent.parent / "site"


def site_folder() -> Path:
    """Return the folder of the site. CallError: it isn't built."""
    if not (SITE / "index.html").is_file():
        raise CallError(
            say("the documentation isn't built in this source folder"),
            code="no_such_docs",
            remedy=say("build it with: python3 tasks.py docs"),
        )
    return SITE


def site_page(name: str) -> Path:
    """Return the page that a name means: its path without suffix, its last part alone, or the beginning of that.

    Raises
    ------
    CallError : no page is called so, several are, or the site isn't built.
    """
    folder = site_folder()
    pages = {path.relative_to(folder).with_suffix("").as_posix(): path for path in sorted(folder.rglob("*.html"))}
    wanted = name.lower().removesuffix(".md").removesuffix(".html").replace(" ", "-").strip("/")
    last = {page: page.rpartition("/")[2] for page in pages}
    for meant in (
        [page for page in pages if page == wanted],
        [page for page in pages if last[page] == wanted],
        [page for page in pages if last[page].startswith(wanted)],
    ):
        if len(meant) == 1:
            return pages[meant[0]]
        if meant:
            raise CallError(
                f"{name} may be {' or '.join(meant[:5])}", code="which_page", rule="a page is named by its path"
            )
    close = difflib.get_close_matches(wanted, [*pages, *last.values()], n=3, cutoff=0.5)
    remedy = f"did you mean {' or '.join(dict.fromkeys(close))}?" if close else "leave the name out for the contents"
    raise CallError(f"no page is called {name}", code="no_such_page", rule="", remedy=remedy)
