"""How long a store has existed by evidence, so that a clock set ahead makes nothing old.

Time counts while the store is open, by the clock that can't be set; between two openings it counts as far as the clock of
the machine has gone on beyond the latest time that was ever noted, and at most as a day.
"""

from __future__ import annotations

import time
from datetime import timedelta
from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.store import tables as t
from gainwright.errors import CallError

if TYPE_CHECKING:
    from datetime import datetime

    from gainwright.adapters.store.database import Database

MOST_BETWEEN_STARTS = timedelta(days=1)
NOTED_EVERY = timedelta(hours=1)
"""Resolution, so that not every opening and not every write notes it."""
_TIME = sa.select(t.store_time.c.seconds, t.store_time.c.latest)


class Elapsed:
    """Counts it, in the store itself: when it is opened, and with its writes."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._since = time.monotonic()
        database.before_write = self._while_open

    def seconds(self) -> int:
        """Return how long the store has existed by evidence, in s."""
        with self._database.read() as connection:
            return age(connection)

    def opened(self) -> None:
        """Note that the store was opened, unless it was noted within the hour or can't be written."""
        try:
            with self._database.read() as connection:
                noted = connection.execute(_TIME).one_or_none()
            if noted is None or t.now() - noted.latest >= NOTED_EVERY:
                with self._database.write() as connection:
                    self._note(connection)
        except CallError:  # a store that can only be read ages by other openings
            return

    def _while_open(self, connection: sa.Connection) -> None:
        if time.monotonic() - self._since >= NOTED_EVERY.total_seconds():
            self._note(connection)

    def _note(self, connection: sa.Connection) -> None:
        at, since = t.now(), time.monotonic()
        open_s, self._since = since - self._since, since
        noted = connection.execute(_TIME.with_for_update()).one_or_none()
        if noted is None:
            connection.execute(t.store_time.insert().values(id=1, seconds=0, latest=at))
            return
        seconds = noted.seconds + _counted(at, noted.latest, open_s)
        connection.execute(t.store_time.update().values(seconds=seconds, latest=max(at, noted.latest)))


def age(connection: sa.Connection) -> int:
    """Return how long a store has existed by evidence, in s."""
    return connection.scalar(sa.select(t.store_time.c.seconds)) or 0


def _counted(at: datetime, latest: datetime, open_s: float) -> int:
    """Return the seconds that count since the last note; `open_s` of them the store was open here."""
    if at <= latest:
        return round(open_s)  # the clock was set back, or had been ahead
    return round(min((at - latest).total_seconds(), max(MOST_BETWEEN_STARTS.total_seconds(), open_s)))
