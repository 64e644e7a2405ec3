"""The whole store in one database, and opening it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.adapters.store.backup import backup_beside
from gainwright.adapters.store.cases import SqlCases
from gainwright.adapters.store.database import PATIENCE_S, Database, new_file
from gainwright.adapters.store.devices import SqlDevices
from gainwright.adapters.store.documents import SqlDocuments
from gainwright.adapters.store.elapsed import Elapsed
from gainwright.adapters.store.jobs import SqlJobs
from gainwright.adapters.store.log_damage import refuse_damaged_log
from gainwright.adapters.store.migration import migrate
from gainwright.adapters.store.notes import SqlNotes
from gainwright.adapters.store.recordings import SqlRecordings
from gainwright.adapters.store.runs import SqlRuns
from gainwright.errors import CallError

if TYPE_CHECKING:
    from pathlib import Path


BACKUPS_KEPT = 3
"""How many of the backups are kept that are written before deleted jobs are removed."""


class SqlStore:
    """All parts of the store, in one database."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.elapsed = Elapsed(database)
        self.jobs = SqlJobs(database)
        self.runs = SqlRuns(database)
        self.notes = SqlNotes(database)
        self.recordings = SqlRecordings(database)
        self.cases = SqlCases(database)
        self.devices = SqlDevices(database)
        self.documents = SqlDocuments(database)

    def age_s(self) -> int:
        """Return how long the store has provably existed, in s."""
        return self.elapsed.seconds()

    def close(self) -> None:
        """Close the database."""
        self.database.close()


def open_store(where: str | Path, *, patience_s: float = PATIENCE_S) -> SqlStore:
    """Open a store, creating or upgrading it if necessary; remove jobs that were deleted long ago.

    Raises
    ------
    CallError : it can't be opened; then it is unchanged.
    """
    database = Database(where, patience_s=patience_s)
    if database.file is not None:
        new_file(database.file)
        refuse_damaged_log(database.file)
    try:
        migrate(database)
        store = SqlStore(database)
        store.elapsed.opened()
        _sweep(store)
    except BaseException:
        database.close()
        raise
    return store


def _sweep(store: SqlStore) -> None:
    """Remove jobs that were deleted long ago; a backup is written before, and without one they stay."""
    if not store.jobs.to_be_swept():
        return
    try:
        backup_beside(store.database, "before-removal", most=BACKUPS_KEPT)
    except CallError:
        return
    store.jobs.sweep()
