"""Recordings of jobs; the samples are in a table of their own, apart from what lists show."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from gainwright.adapters.store.digests import sealed, verified
from gainwright.adapters.store.jobs import lock_job, refuse_deleted
from gainwright.adapters.store.tables import now, recording_content, writable
from gainwright.adapters.store.tables import recording as recording_table
from gainwright.app.store import StoredRecording
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from gainwright.adapters.store.database import Database
    from gainwright.adapters.store.tables import AnyRow

PIECE_BYTES = 1 << 20


class SqlRecordings:
    """Recordings in a database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def of(self, job: str) -> list[StoredRecording]:
        """Return a job's recordings, newest first."""
        writable(job=job)
        table = recording_table.c
        wanted = sa.select(recording_table).where(table.job == job).order_by(table.at.desc(), table.id)
        with self._database.read() as connection:
            return [_stored(row) for row in connection.execute(wanted)]

    def add(self, job: str, *, name: str, content: bytes, measured: Mapping[str, Any]) -> StoredRecording:
        """Add a recording."""
        writable(job=job, name=name)
        kept = StoredRecording(secrets.token_hex(8), job, name, len(content), dict(measured), now())
        row = {"id": kept.id, "job": job, "name": name, "size": kept.size, "measured": kept.measured, "at": kept.at}
        with self._database.write() as connection:
            # the lock on the job prevents its removal in between
            refuse_deleted(connection, job, lock_job(connection, job))
            connection.execute(recording_table.insert().values(**sealed(recording_table, row)))
            _write_content(connection, sealed(recording_content, {"recording": kept.id, "content": content}))
        return kept

    def get(self, recording: str) -> StoredRecording:
        """Return a recording. CallError `no_such_recording`."""
        writable(recording=recording)
        with self._database.read() as connection:
            wanted = sa.select(recording_table).where(recording_table.c.id == recording)
            row = connection.execute(wanted).one_or_none()
        if row is None:
            raise _no_such_recording()
        return _stored(row)

    def content(self, recording: str) -> bytes:
        """Return the file as it was stored."""
        writable(recording=recording)
        wanted = sa.select(recording_content).where(recording_content.c.recording == recording)
        with self._database.read() as connection:
            row = connection.execute(wanted).one_or_none()
        if row is None:
            raise _no_such_recording()
        return bytes(verified(recording_content, row, say("the recording {recording}", recording=recording)).content)

    def pieces(self, recording: str) -> Iterator[bytes]:
        """Yield the file piece by piece, each read when it is asked for; the first only after all was found to be as it was stored."""
        size = len(self.content(recording))
        for begin in range(0, size, PIECE_BYTES):
            with self._database.read() as connection:
                piece = _read_piece(connection, recording, begin)
            if not piece:  # removed meanwhile
                return
            yield piece

    def remove(self, recording: str) -> None:
        """Remove a recording."""
        writable(recording=recording)
        with self._database.write() as connection:
            connection.execute(recording_table.delete().where(recording_table.c.id == recording))


def _write_content(connection: sa.Connection, sound: Mapping[str, Any]) -> None:
    """Store a file; in SQLite piece by piece, since its library would copy a bound value and keep that with the connection."""
    if connection.dialect.name != "sqlite":
        connection.execute(recording_content.insert().values(**sound))
        return
    content = sound["content"]
    connection.execute(recording_content.insert().values(**{**sound, "content": sa.func.zeroblob(len(content))}))
    row = connection.scalar(sa.select(sa.func.last_insert_rowid()))
    raw: Any = connection.connection.driver_connection
    with raw.blobopen(recording_content.name, recording_content.c.content.name, row) as blob:
        for begin in range(0, len(content), PIECE_BYTES):
            blob.write(content[begin : begin + PIECE_BYTES])


def _read_piece(connection: sa.Connection, recording: str, begin: int) -> bytes:
    table = recording_content.c
    if connection.dialect.name != "sqlite":
        part = sa.func.substring(table.content, begin + 1, PIECE_BYTES)
        return bytes(connection.scalar(sa.select(part).where(table.recording == recording)) or b"")
    row = connection.scalar(sa.select(sa.literal_column("rowid")).where(table.recording == recording))
    if row is None:
        return b""
    raw: Any = connection.connection.driver_connection
    with raw.blobopen(recording_content.name, table.content.name, row, readonly=True) as blob:
        blob.seek(begin)
        return bytes(blob.read(PIECE_BYTES))


def _no_such_recording() -> CallError:
    return CallError(
        say("there is no such recording"), code="no_such_recording", remedy=say("see the job's recordings")
    )


def _stored(row: AnyRow) -> StoredRecording:
    verified(recording_table, row, say("the recording {recording}", recording=row.id))
    return StoredRecording(row.id, row.job, row.name, row.size, row.measured, row.at)
