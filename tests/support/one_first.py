"""One process goes first and alone, the others follow together: what the first one compiles, they only load."""

from __future__ import annotations

import contextlib
import os
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@contextlib.contextmanager
def one_first(turn: Path) -> Iterator[None]:
    """Let one process through alone, then all others at once; if the first one fails, the next one is the first.

    `turn` is a file that isn't there before the first.
    """
    import fcntl  # not on Windows

    with turn.open("a") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        if file.seek(0, os.SEEK_END):
            fcntl.flock(file, fcntl.LOCK_UN)
        yield
        file.write("done")
