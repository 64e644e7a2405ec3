"""Files produced by background work: on the disk, for a limited time, the newest only."""

from __future__ import annotations

import contextlib
import secrets
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

MOST_FILES = 12
KEPT_S = 3600.0
"""How long a file is kept after it was made."""


@dataclass
class ResultFiles:
    """A temporary folder, made with the first file and removed at the end.

    Parameters
    ----------
    clock : monotonic time in seconds.
    """

    clock: Callable[[], float] = time.monotonic
    _folder: tempfile.TemporaryDirectory[str] | None = None
    _made: dict[Path, float] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def add(self, content: bytes) -> Path:
        """Write a file; return its path."""
        with self._lock:
            if self._folder is None:
                self._folder = tempfile.TemporaryDirectory(prefix="gainwright-", ignore_cleanup_errors=True)
            path = Path(self._folder.name) / secrets.token_hex(8)
        path.write_bytes(content)
        with self._lock:
            self._made[path] = self.clock()
        self.remove_old()
        return path

    def remove_old(self) -> None:
        """Remove files that are too old, and the oldest when there are too many."""
        with self._lock:
            newest = list(self._made)[-MOST_FILES:]
            old = [p for p, made in self._made.items() if p not in newest or self.clock() - made > KEPT_S]
            for path in old:
                del self._made[path]
        for path in old:
            with contextlib.suppress(OSError):  # still being sent, on a system that then keeps it
                path.unlink()

    def close(self) -> None:
        """Remove all."""
        with self._lock:
            self._made.clear()
            if self._folder is not None:
                self._folder.cleanup()
                self._folder = None
