"""How test processes collect from a tree with nothing compiled: one alone, then the others together."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import pytest
from one_first import one_first

if TYPE_CHECKING:
    from pathlib import Path


def test_one_is_alone_and_the_others_are_together(tmp_path: Path) -> None:
    """While one is in, two wait; those two meet inside."""
    inside: list[int] = []
    first_is_in, may_leave, both = threading.Event(), threading.Event(), threading.Barrier(2, timeout=20)

    def first() -> None:
        with one_first(tmp_path / "turn"):
            first_is_in.set()
            assert may_leave.wait(20)
            inside.append(len(inside))

    def other() -> None:
        with one_first(tmp_path / "turn"):
            inside.append(len(inside))
            both.wait()

    with ThreadPoolExecutor(3) as pool:
        running = [pool.submit(first)]
        assert first_is_in.wait(20)
        running += [pool.submit(other), pool.submit(other)]
        assert not any(wait.done() for wait in running)
        assert inside == []
        may_leave.set()
        for wait in running:
            wait.result(20)
    assert len(inside) == 3


def test_after_one_that_fails_the_next_is_the_first(tmp_path: Path) -> None:
    """Nothing is held as done that wasn't."""
    for _ in range(2):
        with pytest.raises(ValueError, match="no"), one_first(tmp_path / "turn"):
            raise ValueError("no")
        assert (tmp_path / "turn").read_text(encoding="utf-8") == ""
