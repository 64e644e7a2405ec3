"""Uploads of sound are decoded and measured one at a time; a few wait; to the rest the answer says when to try again."""

from __future__ import annotations

import threading
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING

from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_WAITING = 6
LONGEST_WAIT_S = 60.0


class UploadTurns:
    """Gives each upload its turn, in the order in which they came."""

    def __init__(self, *, most_waiting: int = MOST_WAITING, longest_wait_s: float = LONGEST_WAIT_S) -> None:
        self._most_waiting, self._longest_wait_s = most_waiting, longest_wait_s
        self._line: list[object] = []
        self._changed = threading.Condition()

    @contextmanager
    def turn(self) -> Iterator[None]:
        """Wait for a turn, and hold it while the block runs.

        Raises
        ------
        CallError : too many are waiting, or it took too long (`uploads_busy`).
        """
        ticket = object()
        with self._changed:
            if len(self._line) > self._most_waiting:
                raise _busy(len(self._line))
            self._line.append(ticket)
            until = time.monotonic() + self._longest_wait_s
            while self._line[0] is not ticket:
                if not self._changed.wait(until - time.monotonic()):
                    ahead = self._line.index(ticket)
                    self._line.remove(ticket)
                    raise _busy(ahead)
        try:
            yield
        finally:
            with self._changed:
                self._line.remove(ticket)
                self._changed.notify_all()


def _busy(ahead: int) -> CallError:
    return CallError(
        say("{ahead} other recordings are being read first", ahead=ahead),
        code="uploads_busy",
        remedy=say("send it again in half a minute; nothing was stored"),
    )
