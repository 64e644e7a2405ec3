"""Builds the site of this tree into the package, where `gainwright docs` and the web app's help find it.

With `--write` it first runs the commands that the documents show, and writes what they print.
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

from docs_site import SiteError, build_site

TREE = Path(__file__).resolve().parent.parent
OUT = TREE / "src" / "gainwright" / "site"


def main(arguments: list[str]) -> int:
    """Build, and say what was done."""
    if "--write" in arguments:
        from docs_site.running import write_examples

        sys.stdout.write("".join(f"written: {name}\n" for name in write_examples(TREE / "docs")))
    version = tomllib.loads((TREE / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    try:
        built = build_site(TREE, OUT, version=version)
    except SiteError as wrong:
        sys.stderr.write(f"{wrong}\n")
        return 1
    if built.written:
        sys.stdout.write(f"docs: {len(built.pages)} pages in {OUT.relative_to(TREE)}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
