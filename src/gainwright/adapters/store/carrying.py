"""Carries a whole store: into a backup file, and back into a store of either kind, whole or not at all.

A backup is itself a store in one SQLite file, from whichever database it came.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.case_folder import cases_folder
from gainwright.adapters.store.database import Database, new_file
from gainwright.adapters.store.faults import sentence
from gainwright.adapters.store.migrating import known_revision, migrate, revision_of
from gainwright.adapters.store.soundness import unsound
from gainwright.adapters.store.tables import now
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Iterator

_AT_A_TIME = 500
_ONE_AT_A_TIME = {"recording_content"}
_SET_ASIDE = {"store_damaged", "no_store", "newer_store"}
"""What is wrong with a file that a restore puts aside, instead of leaving it to the person."""


def backup(database: Database, file: Path) -> Path:
    """Write a whole store as it is at this moment into a new file; return it.

    Raises
    ------
    CallError : there is such a file, or it can't be written, or the store can't be read.
    """
    with database.moment() as connection:
        if known_revision(database, connection) is None:
            raise CallError("there is no store yet", code="no_store", where=database.name)
        _write_backup(connection, file)
    return file


def backup_beside(database: Database, why: str) -> Path:
    """Write a backup beside the store, in the person's data folder for one on a server; return the file."""
    file = _beside(database, why)
    with database.moment() as connection:
        _write_backup(connection, file)
    return file


def restore(where: str | Path, file: Path) -> Path | None:
    """Put a backup in the place of all that a store holds; return the file that keeps what it held before.

    Raises
    ------
    CallError : the file is no whole backup, or the store can't be written; then it is as it was.
    """
    with _ready(file) as source:
        database, former = _target(where)
        with closing(database), source.moment() as old, database.write() as new:
            _lock(new)
            if former is None and _holds_anything(new):
                former = _beside(database, "former")
                _keep(database, new, former)
            _copy(old, new, empty_first=True)
    return former


def _write_backup(connection: sa.Connection, file: Path) -> None:
    if file.exists():
        raise CallError("there is such a file already", code="file_exists", where=str(file), remedy="name another")
    part = file.with_name(f"{file.name}.part")
    try:
        _remove(part)
        part.touch(mode=0o600)  # says why it can't, where SQLite would only say that it can't
        if connection.dialect.name == "sqlite":
            _copy_file(connection, part)
        else:
            _copy_rows(connection, part)
        part.rename(file)
        _flush_folder(file.parent)
    except OSError as error:
        what = f"can't be written: {error.strerror}"
        raise CallError(what, code="not_written", where=str(file), remedy="choose another place") from None
    except sqlite3.Error as error:
        raise sentence(error, where=str(file)) from error
    finally:
        with suppress(OSError):
            _remove(part)


def _copy_file(connection: sa.Connection, part: Path) -> None:
    source = connection.connection.driver_connection
    with closing(sqlite3.connect(part)) as target:
        assert isinstance(source, sqlite3.Connection)  # noqa: S101  (the dialect says so)
        source.backup(target)
        # a backup is one file, readable where nothing may be written beside it
        target.execute("PRAGMA journal_mode = DELETE")


def _copy_rows(connection: sa.Connection, part: Path) -> None:
    revision = revision_of(connection)
    with closing(Database(part)) as database:
        migrate(database, to=str(revision))
        with database.write() as new:
            _copy(connection, new)
    with closing(sqlite3.connect(part)) as target:
        target.execute("PRAGMA journal_mode = DELETE")


def _copy(old: sa.Connection, new: sa.Connection, *, empty_first: bool = False) -> None:
    """Copy every row as it lies; both ends have the same revision."""
    there = _tables(new)
    if empty_first:
        for table in reversed(there.sorted_tables):
            new.execute(table.delete())
    source = _tables(old)
    for table in there.sorted_tables:
        at_a_time = 1 if table.name in _ONE_AT_A_TIME else _AT_A_TIME
        wanted = sa.select(*(source.tables[table.name].c[column.name] for column in table.columns))
        rows = old.execute(wanted.execution_options(yield_per=at_a_time))
        for some in rows.mappings().partitions(at_a_time):
            new.execute(table.insert(), [dict(row) for row in some])


def _tables(connection: sa.Connection) -> sa.MetaData:
    """Return the tables as the database has them, so that old revisions are copied too."""
    found = sa.MetaData()
    found.reflect(connection, only=lambda name, _: name != "alembic_version")
    return found


@contextmanager
def _ready(file: Path) -> Iterator[Database]:
    """Yield a copy of a backup, whole and of the newest revision."""
    if not file.is_file():
        raise CallError("there is no such file", code="no_such_file", where=str(file), remedy="name a backup")
    with tempfile.TemporaryDirectory(prefix="gainwright-") as folder:
        copy = Path(folder) / "backup.sqlite"
        try:
            source = sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro", uri=True)
            with closing(source), closing(sqlite3.connect(copy)) as target:
                source.backup(target)
        except sqlite3.Error as error:
            raise sentence(error, where=str(file)) from error
        with closing(Database(copy)) as database:
            try:
                _check_backup(database)
                migrate(database)
            except CallError as error:
                raise error.placed(str(file)) from None
            yield database


def _check_backup(database: Database) -> None:
    with database.moment() as connection:
        if revision_of(connection) is None:
            raise CallError("the file is no backup of a store", code="no_store", remedy="name a backup")
        wrong = unsound(connection)
    if wrong:
        raise CallError(f"the backup is damaged: {wrong[0]}", code="store_damaged", remedy="name another backup")


def _target(where: str | Path) -> tuple[Database, Path | None]:
    """Return the store to restore into, of the newest revision; and what was put aside, if it could not be used."""
    database = Database(where)
    try:
        if database.file is not None:
            new_file(database.file)
        with database.moment() as connection:
            wrong = unsound(connection, quick=True)
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
    former = _beside(database, "put-aside")
    for suffix in ("", "-wal", "-shm"):
        with suppress(FileNotFoundError):
            Path(f"{file}{suffix}").rename(f"{former}{suffix}")
    return former


def _keep(database: Database, new: sa.Connection, former: Path) -> None:
    if database.file is None:
        _write_backup(new, former)
        return
    with database.moment() as connection:  # sees what was there before this transaction
        _write_backup(connection, former)


def _lock(connection: sa.Connection) -> None:
    """Keep other writers out until the end of the transaction; a file's writer does already."""
    if connection.dialect.name == "postgresql":
        names = ", ".join(connection.dialect.identifier_preparer.quote(name) for name in _tables(connection).tables)
        connection.exec_driver_sql(f"LOCK TABLE {names} IN EXCLUSIVE MODE")


def _holds_anything(connection: sa.Connection) -> bool:
    tables = _tables(connection).sorted_tables
    return any(connection.execute(sa.select(table).limit(1)).first() is not None for table in tables)


def _beside(database: Database, why: str) -> Path:
    stem = database.file or cases_folder().with_name("gainwright-server.sqlite")
    stem.parent.mkdir(parents=True, exist_ok=True)
    return stem.with_name(f"{stem.name}.{why}-{now():%Y%m%dT%H%M%S.%fZ}")


def _remove(part: Path) -> None:
    for suffix in ("", "-wal", "-shm", "-journal"):
        Path(f"{part}{suffix}").unlink(missing_ok=True)


def _flush_folder(folder: Path) -> None:
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
