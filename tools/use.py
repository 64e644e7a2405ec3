"""Runs Gainwright, and scripts of `tools`, in the environment of the tree."""

from __future__ import annotations

from tools.environment import ROOT, TO_DEVELOP, TO_USE, call, prepare, script


def verb(arguments: list[str]) -> int:
    """Run `gainwright VERB ...`."""
    prepare(TO_USE)
    return call(script("gainwright"), *arguments)


def serve(arguments: list[str]) -> int:
    """Run `gainwright serve ...`, with the help of this tree."""
    return docs([]) or verb(arguments)


def docs(arguments: list[str]) -> int:
    """Build the documentation site where the package looks for it, unless it is there as the documents are now."""
    prepare(TO_USE)
    return call(script("python"), "-m", "docs_site", *arguments[1:])


def notice(arguments: list[str]) -> int:
    """Write NOTICE from the metadata of the locked dependencies."""
    prepare(TO_DEVELOP)
    return call(script("python"), str(ROOT / "tools" / "notice.py"), *arguments[1:])
