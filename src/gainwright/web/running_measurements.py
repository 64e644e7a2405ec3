"""The live measurements that are running, each known by a random name."""

from __future__ import annotations

import secrets
import threading
from typing import TYPE_CHECKING

from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.app.measuring.remote import RemoteMeasurement

MOST = 12
"""Measurements that may run at the same time."""


class RunningMeasurements:
    """Measurements by name; only the client that started one is given its name."""

    def __init__(self) -> None:
        self._running: dict[str, RemoteMeasurement] = {}
        self._lock = threading.Lock()

    def add(self, measurement: RemoteMeasurement) -> str:
        """Add a measurement; return its name.

        Raises
        ------
        CallError : too many are running.
        """
        with self._lock:
            if len(self._running) >= MOST:
                raise CallError(
                    say("{most} measurements are running", most=MOST),
                    code="busy",
                    remedy=say("end one on another page or device"),
                )
            name = secrets.token_urlsafe(12)
            self._running[name] = measurement
            return name

    def remove(self, name: str) -> None:
        """Remove a measurement, if it is there, and end it."""
        with self._lock:
            ended = self._running.pop(name, None)
        if ended is not None:
            ended.close()

    def get(self, name: str) -> RemoteMeasurement:
        """Return a measurement.

        Raises
        ------
        CallError : it has ended.
        """
        with self._lock:
            measurement = self._running.get(name)
        if measurement is None:
            raise CallError(say("this measurement has ended"), code="no_such_measurement", remedy=say("start it again"))
        return measurement
