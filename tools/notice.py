"""Writes NOTICE: the licences of the fonts in papers, and of the locked runtime dependencies and the extras, from their installed metadata.

    python tools/notice.py            write NOTICE
    python tools/notice.py --check    end with 1 if NOTICE is not what would be written

Started by `python3 tasks.py notice`, with the environment of the tree.
"""

from __future__ import annotations

import re
import sys
import tomllib
from importlib import metadata
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
NOTICE = ROOT / "NOTICE"
ELSEWHERE = {"colorama": "BSD-3-Clause"}
"""Dependencies of other systems, which are not installed where this runs; the licence is as their package states it."""
HEAD = """\
Gainwright

Licensed under the Apache License, Version 2.0; see LICENSE.
The part below is written by `python3 tasks.py notice`.

Fonts embedded in PDF papers
----------------------------

Libertinus Serif
    SIL Open Font License 1.1. Copyright 2012-2024 The Libertinus Project Authors. Comes with typst; sets the text.
DejaVu Sans Mono
    Bitstream Vera licence, with DejaVu's changes in the public domain. Comes with typst; for signs that the text's font
    doesn't have.
New Computer Modern
    GUST Font License 1.0. Comes with typst; for signs that neither of the others has.
DejaVu Sans
    Bitstream Vera licence, with DejaVu's changes in the public domain. Labels of charts, where the system has it. Where it
    hasn't, a font of the system takes its place, under a licence of its own.

Locked dependencies
-------------------

Installed beside Gainwright, not part of it. Name, version, licence as the package's metadata states it.

"""


EXTRAS = """
Extras
------

Installed only if asked for (`gainwright[aac]` and so on), not part of Gainwright.

"""
BUNDLED = {"av": "; its wheels bundle FFmpeg (LGPL-3.0-or-later) with x264 and x265 (GPL-2.0-or-later)"}
"""What a package's metadata don't say of what it brings along."""


def licence(name: str) -> str:
    """Return the licence that a package's metadata states: the expression, else a one-line text, else its classifiers."""
    try:
        says = metadata.metadata(name)
    except metadata.PackageNotFoundError:
        return ELSEWHERE[name]
    text = next(iter(says.get_all("License-Expression") or says.get_all("License") or ()), "")
    if text and "\n" not in text and len(text) < 100:
        return text
    found = [c.rpartition(" :: ")[2] for c in says.get_all("Classifier") or [] if c.startswith("License :: ")]
    if not found:
        raise ValueError(f"{name} states no licence")
    return ", ".join(found)


def notice() -> str:
    """Return the text of NOTICE."""
    lock = (ROOT / "requirements.txt").read_text(encoding="utf-8")
    pins = re.findall(r"^([\w.-]+)==(\S+)", lock, re.MULTILINE)
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = [
        (extra, re.split(r"[\[=<>]", name)[0])
        for extra, names in project["optional-dependencies"].items()
        for name in names
    ]
    return (
        HEAD
        + "".join(f"{name} {version}: {licence(name)}\n" for name, version in pins)
        + EXTRAS
        + "".join(f"{extra}: {name}: {licence(name)}{BUNDLED.get(name, '')}\n" for extra, name in extras)
    )


def main(arguments: list[str]) -> int:
    """Write NOTICE, or compare it."""
    text = notice()
    if "--check" in arguments:
        same = NOTICE.is_file() and NOTICE.read_text(encoding="utf-8") == text
        if not same:
            print("NOTICE is out of date: run `python3 tasks.py notice`", file=sys.stderr)
        return 0 if same else 1
    NOTICE.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
