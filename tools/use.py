"""Runs Gainwright, and scripts of `tools`, in the environment of the tree."""

from __future__ import annotations

from tools.environment import ROOT, TO_DEVELOP, TO_USE, call, prepare, script


def verb(arguments: list[str]) -> int:
    """Run `gainwright VERB ...`."""
    prepare(TO_USE)
    return call(script("gainwright"), *arguments)


def notice(arguments: list[str]) -> int:
    """Write NOTICE from the metadata of the locked dependencies."""
    prepare(TO_DEVELOP)
    return call(script("python"), str(ROOT / "tools" / "notice.py"), *arguments[1:])
