"""The store as a whole, and how it is opened."""

from __future__ import annotations

from pathlib import Path

from gainwright.adapters.store.cases import SqlCases
from gainwright.adapters.store.database import PATIENCE_S, Database
from gainwright.adapters.store.devices import SqlDevices
from gainwright.adapters.store.documents import SqlDocuments
from gainwright.adapters.store.jobs import SqlJobs
from gainwright.adapters.store.migrating import migrate
from gainwright.adapters.store.recordings import SqlRecordings
from gainwright.adapters.store.runs import SqlRuns
from gainwright.errors import CallError


class SqlStore:
    """All that the workshop keeps, in one database."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.jobs = SqlJobs(database)
        self.runs = SqlRuns(database)
        self.recordings = SqlRecordings(database)
        self.cases = SqlCases(database)
        self.devices = SqlDevices(database)
        self.documents = SqlDocuments(database)

    def close(self) -> None:
        """Let go of the database."""
        self.database.close()


def open_store(where: str | Path, *, patience_s: float = PATIENCE_S) -> SqlStore:
    """Open a store, make it when there is none, upgrade an older one; sweep out what was deleted long ago.

    Raises
    ------
    CallError : it can't be opened; what is there is left as it is.
    """
    database = Database(where, patience_s=patience_s)
    if database.file is not None:
        _folder_for(database.file)
    try:
        migrate(database)
        store = SqlStore(database)
        store.jobs.sweep()
    except BaseException:
        database.close()
        raise
    return store


def _folder_for(file: Path) -> None:
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CallError(
            f"its folder can't be made: {error.strerror}",
            code="store_not_opened",
            where=str(file),
            remedy="name another place",
        ) from None
