"""A log that a flood of requests can't fill: of messages of one kind, a few a minute, and how many were left out."""

from __future__ import annotations

import logging
import threading
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

EACH, IN_S = 5, 60.0
MOST_KINDS = 200


@dataclass
class _Kind:
    since: float
    let_through: int = 0
    left_out: int = 0


@dataclass(eq=False)
class Sparse(logging.Filter):
    """Lets `EACH` messages of a kind (logger and unformatted text) through in `IN_S` seconds; the next one then says how many weren't.

    Parameters
    ----------
    clock : monotonic time in seconds.
    """

    clock: Callable[[], float] = time.monotonic
    _kinds: dict[tuple[str, str], _Kind] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def filter(self, record: logging.LogRecord) -> bool:
        """Return whether a message is written."""
        now, key = self.clock(), (record.name, str(record.msg)[:200])
        with self._lock:
            kind = self._kinds.get(key)
            left_out = 0
            if kind is None or now - kind.since >= IN_S:
                left_out = 0 if kind is None else kind.left_out
                if len(self._kinds) >= MOST_KINDS:
                    self._kinds.clear()
                kind = self._kinds[key] = _Kind(now)
            if kind.let_through >= EACH:
                kind.left_out += 1
                return False
            kind.let_through += 1
        if left_out:
            record.msg, record.args = f"{record.getMessage()} ({left_out} more like it were left out)", ()
        return True
