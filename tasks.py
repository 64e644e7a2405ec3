"""Everything that is done with this tree, one command each; needs nothing but Python 3.11 or newer.

    python3 tasks.py demo [...]     the whole job on a shipped example (options of `gainwright demo`)
    python3 tasks.py serve [...]    the local web app (options of `gainwright serve`)
    python3 tasks.py docs [--write] [--pictures]
                                    build the documentation site, for `gainwright docs` and the web app's help;
                                    first write into the documents what their commands print, take their pictures
    python3 tasks.py test [...]     style, types, layers, every test, then the built wheel;
                                    with options of pytest: only those tests
    python3 tasks.py check          style, types and layers only
    python3 tasks.py lowest [...]   the tests with the lowest versions that pyproject.toml allows
    python3 tasks.py other-python PYTHON [...]
                                    the tests with another Python (a program, such as python3.13)
    python3 tasks.py coverage [...] the tests, and which share of the statements and branches they ran
    python3 tasks.py attack [--minutes N] [--seed S] [--only NAME ...] [--jobs FILE ...]
                                    bad files, requests, crowds and kills, drawn from a seed; figures of what was seen
    python3 tasks.py bench [...]    the measurements of speed, all or by name
    python3 tasks.py lock [...]     renew the locked dependencies (options of pip-compile)
    python3 tasks.py advisories     ask pip's index for advisories on the locked versions
    python3 tasks.py platforms      ask the index for wheels of every dependency on each system and Python;
                                    then the types as on Windows and macOS
    python3 tasks.py installs [--write]
                                    build the wheel, install it by uv, uvx, pipx and pip in empty homes, use and
                                    remove it; compare what it took and left with the documents, or write it there
    python3 tasks.py notice         write NOTICE: the licences of fonts and dependencies
    python3 tasks.py man            write the manual page from the commands
    python3 tasks.py sbom FILE      write the bill of materials (CycloneDX)
    python3 tasks.py release [--attack-minutes N]
                                    check everything, then build the release into dist; refuses a tree with changes

The first run makes `.venv` and installs the locked, hash-checked dependencies; later runs start at once.
"""

from __future__ import annotations

import importlib
import sys

COMMANDS = {
    "demo": ("use", "verb"),
    "serve": ("use", "serve"),
    "docs": ("use", "docs"),
    "test": ("testing", "test"),
    "check": ("testing", "check"),
    "lowest": ("testing", "lowest"),
    "other-python": ("testing", "other_python"),
    "coverage": ("testing", "coverage"),
    "attack": ("testing", "attack"),
    "bench": ("testing", "bench"),
    "lock": ("lock", "lock"),
    "platforms": ("platforms", "platforms"),
    "installs": ("installs", "installs"),
    "notice": ("use", "notice"),
    "man": ("use", "man"),
    "sbom": ("use", "sbom"),
    "release": ("release", "release"),
    "advisories": ("advisories", "ask_pips_index"),
}
"""Command -> module of `tools`, and its function."""


def main(arguments: list[str]) -> int:
    """Run one command and return its exit status."""
    if not arguments or arguments[0] not in COMMANDS:
        asked_for_help = bool(arguments) and arguments[0] in {"-h", "--help", "help"}
        print(__doc__, file=sys.stdout if asked_for_help else sys.stderr)
        return 0 if asked_for_help else 2
    if sys.version_info < (3, 11):  # noqa: UP036  (this file is started by whatever Python is at hand)
        print("Gainwright needs Python 3.11 or newer; this is " + sys.version.split()[0], file=sys.stderr)
        return 2
    from tools.environment import TaskError  # not at the top: an older Python must get as far as being told so

    module, function = COMMANDS[arguments[0]]
    try:
        return int(getattr(importlib.import_module(f"tools.{module}"), function)(arguments))
    except TaskError as trouble:
        print(f"tasks.py {arguments[0]}: {trouble}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
