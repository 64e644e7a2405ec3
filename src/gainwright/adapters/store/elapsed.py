"""How long a store has provably existed, so that a clock set ahead makes nothing old.

Time counts while the store is open, by the clock that can't be set; between two openings it counts as far as the clock of
the machine has gone on beyond the latest time that was ever noted, and at most as a day. A note that isn't as it was stored counts for
nothing, and time begins anew: what was deleted stays longer.
"""

from __future__ import annotations

import time
from datetime import timedelta
from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.store import tables as t
from gainwright.adapters.store.digests import is_whole, sealed
from gainwright.errors import CallError

if TYPE_CHECKING:
    from datetime import datetime

    from gainwright.adapters.store.database import Database
    from gainwright.adapters.store.tables import AnyRow

MOST_BETWEEN_STARTS = timedelta(days=1)
NOTED_EVERY = timedelta(hours=1)
"""Resolution, so that not every opening and not every write notes it."""


class Elapsed:
    """Counts it, in the store itself: when it is opened, and with its writes."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._since = time.monotonic()
        database.before_write = self._while_open

    def seconds(self) -> int:
        """Return how long the store has provably existed, in s."""
        with self._database.read() as connection:
            return age(connection)

    def opened(self) -> None:
        """Note that the store was opened, unless it was noted within the hour or can't be written."""
        try:
            with self._database.read() as connection:
                noted = _noted(connection)
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
        noted = _noted(connection, lock=True)
        seconds = 0 if noted is None else noted.seconds + _counted(at, noted.latest, open_s)
        row = {"id": 1, "seconds": seconds, "latest": at if noted is None else max(at, noted.latest)}
        if noted is None:
            connection.execute(t.store_time.delete())
        write = t.store_time.insert() if noted is None else t.store_time.update()
        connection.execute(write.values(**sealed(t.store_time, row)))


def _noted(connection: sa.Connection, *, lock: bool = False) -> AnyRow | None:
    """Return what was noted last; None when nothing was, or it isn't as it was stored."""
    wanted = sa.select(t.store_time)
    row = connection.execute(wanted.with_for_update() if lock else wanted).first()
    return row if row is not None and is_whole(t.store_time, row) else None


def age(connection: sa.Connection) -> int:
    """Return how long a store has provably existed, in s."""
    noted = _noted(connection)
    return 0 if noted is None else int(noted.seconds)


def _counted(at: datetime, latest: datetime, open_s: float) -> int:
    """Return the seconds that count since the last note; `open_s` of them the store was open here."""
    if at <= latest:
        return round(open_s)  # the clock was set back, or had been ahead
    return round(min((at - latest).total_seconds(), max(MOST_BETWEEN_STARTS.total_seconds(), open_s)))
