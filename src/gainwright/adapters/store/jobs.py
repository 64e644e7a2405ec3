"""Jobs and their versions: undo and redo move between versions, a write after an undo discards the later ones."""

from __future__ import annotations

import secrets
from datetime import timedelta
from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.store.tables import holds, job_version, now, searched, writable
from gainwright.adapters.store.tables import job as job_table
from gainwright.app.store import ConflictError, StoredJob
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from datetime import datetime

    from gainwright.adapters.store.database import Database
    from gainwright.adapters.store.tables import AnyRow
    from gainwright.app.store import JobState

KEPT_DAYS = 30
"""How long a deleted job can be restored."""

_SHOWN = [column for column in job_table.c if column is not job_table.c.words]
_CURRENT = sa.select(*_SHOWN, job_version.c.title, job_version.c.text).join(
    job_version, (job_version.c.job == job_table.c.id) & (job_version.c.number == job_table.c.version)
)

_ONE = _CURRENT.where(job_table.c.id == sa.bindparam("name"))
_LOCK = sa.select(job_table.c.id).where(job_table.c.id == sa.bindparam("name")).with_for_update()


class SqlJobs:
    """Jobs in a database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def list(self, *, words: str = "", shelf: JobState = "kept", most: int | None = None) -> list[StoredJob]:
        """Return the jobs in a state that contain all of the words in title or text, last changed first."""
        writable(words=words)
        wanted = _CURRENT.where(job_table.c.shelf == shelf, *holds(job_table.c.words, words))
        ordered = wanted.order_by(job_table.c.changed.desc(), job_table.c.id).limit(most)
        with self._database.read() as connection:
            return [_stored(row) for row in connection.execute(ordered)]

    def get(self, job: str) -> StoredJob:
        """Return a job. CallError `no_such_job`."""
        with self._database.read() as connection:
            return _stored(_row(connection, job))

    def add(self, *, title: str, text: str) -> StoredJob:
        """Add a job."""
        writable(title=title, text=text)
        at, name = now(), secrets.token_hex(8)
        row = {"id": name, "revision": 1, "version": 1, "versions": 1, "shelf": "kept", "created": at, "changed": at}
        with self._database.write() as connection:
            connection.execute(job_table.insert().values(**row, words=searched(title, text)))
            connection.execute(_version(name, 1, title, text, "", at))
            return _stored(_row(connection, name))

    def write(self, job: str, *, title: str, text: str, seen: int, by: str = "") -> StoredJob:
        """Add a version of a job. ConflictError: its revision isn't `seen`."""
        writable(title=title, text=text, by=by)
        with self._database.write() as connection:
            found = _row_as_seen(connection, job, seen)
            number = found.version + 1
            ahead = (job_version.c.job == job) & (job_version.c.number >= number)
            connection.execute(job_version.delete().where(ahead))
            connection.execute(_version(job, number, title, text, by, now()))
            return _set_version(connection, found, number, versions=number)

    def undo(self, job: str, *, seen: int) -> StoredJob:
        """Go back one version. ConflictError; CallError `nothing_to_undo`."""
        with self._database.write() as connection:
            found = _row_as_seen(connection, job, seen)
            if found.version <= 1:
                raise CallError(say("there is nothing to undo"), code="nothing_to_undo")
            return _set_version(connection, found, found.version - 1)

    def redo(self, job: str, *, seen: int) -> StoredJob:
        """Go forward one version. ConflictError; CallError `nothing_to_redo`."""
        with self._database.write() as connection:
            found = _row_as_seen(connection, job, seen)
            if found.version >= found.versions:
                raise CallError(say("there is nothing to redo"), code="nothing_to_redo")
            return _set_version(connection, found, found.version + 1)

    def put(self, job: str, shelf: JobState) -> StoredJob:
        """Set the state of a job: kept, archived or deleted; a deleted job can be restored for 30 days."""
        with self._database.write() as connection:
            found = _row(connection, job, lock=True)
            if found.shelf != shelf:
                deleted = now() if shelf == "deleted" else None
                connection.execute(job_table.update().where(job_table.c.id == job).values(shelf=shelf, deleted=deleted))
            return _stored(_row(connection, job))

    def sweep(self, *, before: datetime | None = None) -> int:
        """Remove jobs that were deleted 30 days ago, with everything that belongs to them; return their number."""
        old = job_table.c.deleted < (before or now() - timedelta(days=KEPT_DAYS))
        with self._database.read() as connection:
            if not connection.scalar(sa.select(sa.func.count()).select_from(job_table).where(old)):
                return 0
        with self._database.write() as connection:
            return connection.execute(job_table.delete().where(old, job_table.c.shelf == "deleted")).rowcount


def no_such_job() -> CallError:
    """Return the error for a job that doesn't exist."""
    return CallError(
        say("there is no such job"),
        code="no_such_job",
        remedy=say("see the list of jobs; it may have been removed after deletion"),
    )


def _row(connection: sa.Connection, name: str, *, lock: bool = False) -> AnyRow:
    writable(job=name)
    if lock:  # a statement of its own: a join would return the row as it was before waiting for the lock
        connection.execute(_LOCK, {"name": name})
    row = connection.execute(_ONE, {"name": name}).one_or_none()
    if row is None:
        raise no_such_job()
    return row


def _row_as_seen(connection: sa.Connection, name: str, seen: int) -> AnyRow:
    """Return the row of a job, locked, if its revision is still `seen`."""
    row = _row(connection, name, lock=True)
    if row.revision != seen:
        raise ConflictError(
            say("the job was changed by somebody else meanwhile"),
            code="conflict",
            remedy=say("look at the present job, then make your change again; nothing was written"),
        )
    return row


def _set_version(connection: sa.Connection, found: AnyRow, version: int, **values: int) -> StoredJob:
    """Set the current version of a job."""
    there = (job_version.c.job == found.id) & (job_version.c.number == version)
    current = connection.execute(sa.select(job_version.c.title, job_version.c.text).where(there)).one()
    connection.execute(
        job_table.update()
        .where(job_table.c.id == found.id)
        .values(
            version=version,
            revision=found.revision + 1,
            changed=now(),
            words=searched(current.title, current.text),
            **values,
        )
    )
    return _stored(_row(connection, found.id))


def _version(name: str, number: int, title: str, text: str, by: str, at: datetime) -> sa.Insert:
    return job_version.insert().values(job=name, number=number, title=title, text=text, by=by, at=at)


def _stored(row: AnyRow) -> StoredJob:
    return StoredJob(
        id=row.id,
        title=row.title,
        text=row.text,
        revision=row.revision,
        shelf=row.shelf,
        undoable=row.version - 1,
        redoable=row.versions - row.version,
        created=row.created,
        changed=row.changed,
    )
