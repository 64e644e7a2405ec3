"""Backups: a snapshot of a whole store of either kind, in one SQLite file that is itself a store."""

from __future__ import annotations

import glob
import hashlib
import os
import re
import sqlite3
import sys
from contextlib import closing, suppress
from pathlib import Path

import sqlalchemy as sa

from gainwright.adapters.files import make_folder, new_file
from gainwright.adapters.store.database import Database
from gainwright.adapters.store.database_errors import store_error
from gainwright.adapters.store.digests import NOT_SEALED, digest_of
from gainwright.adapters.store.revisions import known_revision, revision_of, upgrade
from gainwright.adapters.store.tables import job as job_table
from gainwright.adapters.store.tables import now
from gainwright.adapters.user_folders import data_path
from gainwright.errors import CallError

_AT_A_TIME = 500
_ONE_AT_A_TIME = {"recording_content", "step_photo"}
_STAMP = "%Y%m%dT%H%M%S.%fZ"

_OWN_PART = re.compile(
    r"\.(before-upgrade-from-\w+|before-removal|former)-[0-9]{8}T[0-9]{6}\.[0-9]{6}Z\.[0-9a-f]{8}\.part(-\w+)?$"
)
"""Name of an unfinished file that is written next to a store (`file_beside`, `adapters.files.new_file`)."""


def backup(database: Database, file: Path) -> Path:
    """Write a snapshot of a whole store into a new file; return the file.

    Raises
    ------
    CallError : the file exists or can't be written, or the store can't be read.
    """
    with database.snapshot() as connection:
        if known_revision(database, connection) is None:
            raise CallError("there is no store yet", code="no_store", where=database.name)
        write_backup(connection, file)
    return file


def backup_beside(database: Database, why: str, *, most: int | None = None) -> Path:
    """Write a backup next to the store, for a server into the user's data folder; return the file.

    Parameters
    ----------
    most : how many of the backups with this reason are kept, the newest ones; all when None.
    """
    file = file_beside(database, why)
    with database.snapshot() as connection:
        write_backup(connection, file)
    if most is not None:
        for old in _oldest_first([other for other in backups_beside(database, why) if other != file])[
            : 1 - most or None
        ]:
            with suppress(OSError):
                old.unlink()
    return file


def _oldest_first(files: list[Path]) -> list[Path]:
    """Return backups, the oldest first; those named by a clock that was ahead of the present one count as older than all others."""
    at_present = f"{now():{_STAMP}}"
    return sorted(files, key=lambda file: (_stamp(file) <= at_present, _stamp(file)))


def backups_beside(database: Database, why: str = "") -> list[Path]:
    """Return the files that were written next to a store, for a reason or for any, the oldest first."""
    stem = _stem(database)
    found = [file for file in stem.parent.glob(f"{glob.escape(stem.name)}.{why or '*'}-*Z") if file.is_file()]
    return sorted(found, key=_stamp)


def _stamp(file: Path) -> str:
    """Return the time in the name of a file that was written next to a store."""
    return file.name[-len("20260101T000000.000000Z") :]


def write_backup(connection: sa.Connection, file: Path) -> None:
    """Write the store, as a connection sees it, into a new file, completely or not at all.

    Raises
    ------
    CallError : the file exists, or can't be written.
    """
    try:
        if file.exists():
            raise CallError("the file exists already", code="file_exists", where=str(file), remedy="name another")
        with new_file(file, mode=0o600) as part:
            try:
                if connection.dialect.name == "sqlite":
                    _write_file_backup(connection, part)
                else:
                    _write_server_backup(connection, part)
            finally:
                _remove_logs(part)
        _flush_folder(file.parent)
    except OSError as error:
        what = f"can't be written: {error.strerror}"
        raise CallError(what, code="not_written", where=str(file), remedy="choose another place") from None
    except sqlite3.Error as error:
        raise store_error(error, where=str(file)) from error


def _write_file_backup(connection: sa.Connection, part: Path) -> None:
    source = connection.connection.driver_connection
    with closing(sqlite3.connect(part)) as target:
        assert isinstance(source, sqlite3.Connection)  # noqa: S101  (the dialect says so)
        source.backup(target)
        _finish(target)


def _write_server_backup(connection: sa.Connection, part: Path) -> None:
    revision = revision_of(connection)
    with closing(Database(part)) as database, database.write() as new:
        upgrade(new, to=str(revision))
        copy_rows(connection, new)
    with closing(sqlite3.connect(part)) as target:
        _finish(target)


def _finish(target: sqlite3.Connection) -> None:
    """Make a copy a single file that can be read in a read-only folder, in which deleted jobs can be restored for 30 days more."""
    names = [column.name for column in job_table.columns if column.name not in NOT_SEALED]
    try:
        (age,) = target.execute("SELECT coalesce(max(seconds), 0) FROM store_time").fetchone()
        deleted = target.execute(f"SELECT {', '.join(names)}, digest FROM job WHERE shelf = 'deleted'").fetchall()  # noqa: S608
    except sqlite3.OperationalError:  # of a revision that doesn't count time
        deleted = []
    for *values, digest in deleted:
        row = dict(zip(names, values, strict=True))
        if digest_of(values) == digest:
            anew = digest_of(list((row | {"deleted_age": age}).values()))
            target.execute("UPDATE job SET deleted_age = ?, digest = ? WHERE id = ?", (age, anew, row["id"]))
    target.commit()
    target.execute("PRAGMA journal_mode = DELETE")


def copy_rows(old: sa.Connection, new: sa.Connection, *, empty_first: bool = False) -> None:
    """Copy every row unchanged; both databases have the same revision."""
    there = tables_of(new)
    if empty_first:
        for table in reversed(there.sorted_tables):
            new.execute(table.delete())
    source = tables_of(old)
    for table in there.sorted_tables:
        at_a_time = 1 if table.name in _ONE_AT_A_TIME else _AT_A_TIME
        wanted = sa.select(*(source.tables[table.name].c[column.name] for column in table.columns))
        rows = old.execute(wanted.execution_options(yield_per=at_a_time))
        for some in rows.mappings().partitions(at_a_time):
            new.execute(table.insert(), [dict(row) for row in some])


def tables_of(connection: sa.Connection) -> sa.MetaData:
    """Return the tables as they are in the database, so that old revisions can be copied, too."""
    found = sa.MetaData()
    found.reflect(connection, only=lambda name, _: name != "alembic_version")
    return found


def file_beside(database: Database, why: str) -> Path:
    """Return a new file name next to a store, for a server in the user's data folder. CallError: that can't be created."""
    stem = _stem(database)
    make_folder(stem.parent)
    return stem.with_name(f"{stem.name}.{why}-{now():{_STAMP}}")


def _stem(database: Database) -> Path:
    if database.file is not None:
        return database.file
    # each server's store has names of its own: files of one are never taken for those of another
    return data_path(f"gainwright-server-{hashlib.sha256(database.name.encode()).hexdigest()[:8]}.sqlite")


def remove_parts(database: Database) -> None:
    """Remove unfinished files next to a store that a killed upgrade or restore has left; its caller keeps other writers out."""
    stem = _stem(database)
    for part in stem.parent.glob(f".{glob.escape(stem.name)}.*.part*"):
        if _OWN_PART.search(part.name):
            with suppress(OSError):
                part.unlink()


def _remove_logs(part: Path) -> None:
    for suffix in ("-wal", "-shm", "-journal"):
        with suppress(OSError):
            Path(f"{part}{suffix}").unlink(missing_ok=True)


def _flush_folder(folder: Path) -> None:
    if sys.platform == "win32":  # it flushes no folders
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
