"""Runs Gainwright, and scripts of `tools`, in the environment of the tree."""

from __future__ import annotations

from tools.environment import ROOT, TO_DEVELOP, TO_USE, call, prepare, script, stop
from tools.programs import install_programs


def verb(arguments: list[str]) -> int:
    """Run `gainwright VERB ...`."""
    prepare(TO_USE)
    return call(script("gainwright"), *arguments)


def serve(arguments: list[str]) -> int:
    """Run `gainwright serve ...`, with the help of this tree; where a document is broken, without it or with the last one."""
    docs([])
    return verb(arguments)


def docs(arguments: list[str]) -> int:
    """Build the documentation site where the package looks for it, unless it is there as the documents are now.

    With `--pictures` first take the pictures of the app's pages anew, with Chromium and the tests' environment.
    """
    if "--pictures" in arguments:
        install_programs()
        prepare(TO_DEVELOP)
        if call(script("python"), "-m", "docs_site.pictures") != 0:
            return 1
    prepare(TO_USE)
    return call(script("python"), "-m", "docs_site", *arguments[1:])


def notice(arguments: list[str]) -> int:
    """Write NOTICE from the metadata of the locked dependencies."""
    prepare(TO_DEVELOP)
    return call(script("python"), str(ROOT / "tools" / "notice.py"), *arguments[1:])


def man(_: list[str]) -> int:
    """Write the manual page from the commands."""
    prepare(TO_DEVELOP)
    return call(script("python"), str(ROOT / "tools" / "man_page.py"))


def sbom(arguments: list[str]) -> int:
    """Write the bill of materials to a file."""
    if len(arguments) != 2:
        stop("name the file, such as gainwright.cdx.json")
    prepare(TO_DEVELOP)
    return call(script("python"), "-m", "tools.sbom", arguments[1])
