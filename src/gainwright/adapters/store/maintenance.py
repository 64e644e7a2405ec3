"""Maintenance of a whole store: back up, restore, check."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from typing import TYPE_CHECKING

from gainwright.adapters.store.backup import backup, backups_beside
from gainwright.adapters.store.check import StoreCheck, check
from gainwright.adapters.store.database import Database
from gainwright.adapters.store.log_damage import lost_transactions
from gainwright.adapters.store.reading import NOT_WRITABLE, only_reading
from gainwright.adapters.store.restore import restore
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path


class StoreMaintenance:
    """Maintains the store at a place.

    Parameters
    ----------
    where : a file, or the address of a PostgreSQL database.
    """

    def __init__(self, where: str) -> None:
        self.where = where

    def backup(self, file: Path) -> Path:
        """Write the whole store into a new file; the store may be on a medium that can't be written.

        Raises
        ------
        CallError : the file exists, the store doesn't, or it can't be read or written.
        """
        with closing(self._existing()) as database:
            try:
                return backup(database, file)
            except CallError as error:
                if error.code not in NOT_WRITABLE or error.where != database.name:
                    raise
        return only_reading(self.where, lambda database: backup(database, file))

    def restore(self, file: Path) -> Path | None:
        """Replace the whole content of the store by a backup; return the file with the previous content.

        Raises
        ------
        CallError : the file is not a complete backup, or the store can't be written; then it is as it was.
        """
        return restore(self.where, file)

    def check(self, backups: Sequence[Path] = ()) -> StoreCheck:
        """Check the whole store without changing anything, on a medium that can't be written too.

        Parameters
        ----------
        backups : in which what is damaged is looked for, besides those next to the store.

        Raises
        ------
        CallError : there is no store, or it can't be read at all.
        """
        with closing(self._existing()) as database:
            beside = backups_beside(database)
            lost = 0 if database.file is None else lost_transactions(database.file)
        found = only_reading(self.where, lambda database: check(database, (*backups, *beside)))
        in_log = (f"the log beside it is damaged: the last {lost} changes can't be read",) if lost else ()
        return replace(found, wrong=(*in_log, *found.wrong))

    def _existing(self) -> Database:
        database = Database(self.where)
        if database.file is not None and not database.file.is_file():
            raise CallError("there is no store yet", code="no_store", where=database.name, remedy="name the store")
        return database
