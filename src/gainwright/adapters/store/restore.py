"""Restoring: replaces the content of a store of either kind by a backup, completely or not at all."""

from __future__ import annotations

import sqlite3
import tempfile
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.store.backup import (
    backups_beside,
    copy_rows,
    file_beside,
    remove_parts,
    tables_of,
    write_backup,
)
from gainwright.adapters.store.database import Database, new_file
from gainwright.adapters.store.database_errors import store_error
from gainwright.adapters.store.integrity import integrity_problems
from gainwright.adapters.store.migration import migrate
from gainwright.adapters.store.restored_revisions import raise_revisions, revisions_in
from gainwright.adapters.store.revisions import revision_of, wrong_tables
from gainwright.adapters.store.revoked import revoke_again, revoked_in, revoked_in_file
from gainwright.adapters.store.tables import store_time
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gainwright.app.store import PairedDevice

_SET_ASIDE = {"store_damaged", "no_store", "newer_store"}
"""Faults of a store file for which a restore moves it aside."""


def restore(where: str | Path, file: Path) -> Path | None:
    """Replace the content of a store by a backup; return the file with the previous content.

    Raises
    ------
    CallError : the file is not a complete backup, or the store can't be written; then it is unchanged.
    """
    with _ready(file) as source:
        database, former = _target(where)
        with closing(database), source.snapshot() as old, database.write() as new:
            _lock(new)
            revoked = _revoked(database, new, former)
            if former is None and _holds_anything(new):
                remove_parts(database)
                former = file_beside(database, "former")
                _keep(database, new, former)
            seen = revisions_in(new)
            _copy(old, new, file)
            raise_revisions(new, seen)
            revoke_again(new, revoked)
    return former


def _revoked(database: Database, new: sa.Connection, former: Path | None) -> Sequence[PairedDevice] | None:
    """Return the devices that stay out; of an empty store those of the file that an earlier restore, which was killed, put aside."""
    if former is None and not _holds_anything(new):
        former = next(reversed(backups_beside(database, "put-aside")), None)
    return revoked_in(new) if former is None else revoked_in_file(former)


def _copy(old: sa.Connection, new: sa.Connection, file: Path) -> None:
    """Copy every row of a backup. CallError: a text in it isn't valid or a column is missing, as of a damaged disk."""
    try:
        copy_rows(old, new, empty_first=True)
    except (UnicodeEncodeError, KeyError) as error:
        what = f"the column {error.args[0]} is missing" if isinstance(error, KeyError) else "a text in it is not UTF-8"
        raise CallError(
            f"the backup is damaged: {what}",
            code="store_damaged",
            where=str(file),
            remedy="name another backup",
        ) from None


@contextmanager
def _ready(file: Path) -> Iterator[Database]:
    """Yield a checked copy of a backup, upgraded to the newest revision."""
    if not file.is_file():
        raise CallError("there is no such file", code="no_such_file", where=str(file), remedy="name a backup")
    with tempfile.TemporaryDirectory(prefix="gainwright-") as folder:
        copy = Path(folder) / "backup.sqlite"
        try:
            source = sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro", uri=True)
            with closing(source), closing(sqlite3.connect(copy)) as target:
                source.backup(target)
        except sqlite3.Error as error:
            what = store_error(error, where=str(file))
            remedy = "name a backup that is whole; one that was packed (.zip, .gz) must be unpacked first"
            raise CallError(what.what, code=what.code, where=str(file), remedy=remedy) from error
        with closing(Database(copy)) as database:
            try:
                _check_backup(database)
                migrate(database)
            except CallError as error:
                raise error.with_place(str(file)) from None
            yield database


def _check_backup(database: Database) -> None:
    with database.snapshot() as connection:
        if revision_of(connection) is None:
            raise CallError("the file is not a backup of a store", code="no_store", remedy="name a backup")
        wrong = wrong_tables(connection) or integrity_problems(connection)
    if wrong:
        raise CallError(f"the backup is damaged: {wrong[0]}", code="store_damaged", remedy="name another backup")


def _target(where: str | Path) -> tuple[Database, Path | None]:
    """Return the store to restore into, upgraded, and the file that was moved aside if the present one can't be used."""
    database = Database(where)
    try:
        if database.file is not None:
            new_file(database.file)
        with database.snapshot() as connection:
            wrong = integrity_problems(connection, quick=True)
        if wrong:
            raise CallError("the file is damaged", code="store_damaged", where=database.name)
        migrate(database)
    except CallError as error:
        database.close()
        if database.file is None or error.code not in _SET_ASIDE:
            raise
        former = _put_aside(database)
        database = Database(where)
        migrate(database)
        return database, former
    return database, None


def _put_aside(database: Database) -> Path:
    file = database.file
    assert file is not None  # noqa: S101  (only files are put aside)
    former = file_beside(database, "put-aside")
    for suffix in ("", "-wal", "-shm"):
        with suppress(FileNotFoundError):
            Path(f"{file}{suffix}").replace(f"{former}{suffix}")
    return former


def _keep(database: Database, new: sa.Connection, former: Path) -> None:
    if database.file is None:
        write_backup(new, former)
        return
    with database.snapshot() as connection:  # sees the state before this transaction
        write_backup(connection, former)


def _lock(connection: sa.Connection) -> None:
    """Lock other writers out until the end of the transaction; in SQLite a write transaction does that anyway."""
    if connection.dialect.name == "postgresql":
        names = ", ".join(connection.dialect.identifier_preparer.quote(name) for name in tables_of(connection).tables)
        connection.exec_driver_sql(f"LOCK TABLE {names} IN EXCLUSIVE MODE")


def _holds_anything(connection: sa.Connection) -> bool:
    tables = [table for table in tables_of(connection).sorted_tables if table.name != store_time.name]
    return any(connection.execute(sa.select(table).limit(1)).first() is not None for table in tables)
