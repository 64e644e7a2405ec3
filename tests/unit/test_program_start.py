"""What a command sets before it loads anything."""

from __future__ import annotations

import gc
import os
import sys

import pytest

from gainwright import __main__ as program
from gainwright import cli


@pytest.mark.parametrize("given", ["", "3"])
def test_linear_algebra_has_one_thread_unless_told_otherwise(given: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """More of them wait for one another; a number in the environment stays."""
    seen: list[str] = []
    monkeypatch.setattr(gc, "freeze", lambda: None)
    monkeypatch.setattr(gc, "set_threshold", lambda _: None)
    monkeypatch.setattr(sys, "path", list(sys.path))
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", given)
    if not given:
        monkeypatch.delenv("OPENBLAS_NUM_THREADS")
    monkeypatch.setattr(cli, "main", lambda: seen.append(os.environ["OPENBLAS_NUM_THREADS"]))
    program.main()
    assert seen == [given or "1"]
