"""Jobs and their versions: undo and redo move between versions, a write after an undo discards the later ones."""

from __future__ import annotations

import secrets
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from gainwright.adapters.store.digests import damaged, is_whole, sealed, verified
from gainwright.adapters.store.elapsed import age
from gainwright.adapters.store.tables import holds, job_version, now, searched, writable
from gainwright.adapters.store.tables import job as job_table
from gainwright.app.store import ConflictError, StoredJob, job_deleted
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.adapters.store.database import Database
    from gainwright.adapters.store.tables import AnyRow
    from gainwright.app.store import JobState

KEPT_DAYS = 30
"""How long a deleted job can be restored at least."""
DAY_S = 86_400

_SHOWN = [column for column in job_table.c if column is not job_table.c.words]
_OF_VERSION = "version_"
_CURRENT = sa.select(*_SHOWN, *(column.label(_OF_VERSION + column.name) for column in job_version.c)).join(
    job_version,
    (job_version.c.job == job_table.c.id) & (job_version.c.number == job_table.c.version),
)

_ONE = _CURRENT.where(job_table.c.id == sa.bindparam("name"))
_LOCK = sa.select(job_table.c.id, job_table.c.shelf).where(job_table.c.id == sa.bindparam("name")).with_for_update()


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
            return [_stored(row) if _is_whole(row) else _damaged(row) for row in connection.execute(ordered)]

    def get(self, job: str) -> StoredJob:
        """Return a job. CallError `no_such_job`."""
        with self._database.read() as connection:
            return _stored(_row(connection, job))

    def add(self, *, title: str, text: str) -> StoredJob:
        """Add a job."""
        writable(title=title, text=text)
        at, name = now(), secrets.token_hex(8)
        row = {"id": name, "revision": 1, "version": 1, "versions": 1, "shelf": "kept", "created": at, "changed": at}
        row |= {"deleted": None, "deleted_age": None}
        with self._database.write() as connection:
            connection.execute(job_table.insert().values(**sealed(job_table, row), words=searched(title, text)))
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

    def put(self, job: str, shelf: JobState, *, seen: JobState | None = None) -> StoredJob:
        """Set the state of a job: kept, archived or deleted; a deleted job can be restored for 30 days. ConflictError: it isn't `seen`."""
        with self._database.write() as connection:
            found = _row(connection, job, lock=True)
            if seen not in (None, found.shelf):
                raise _changed_meanwhile()
            if found.shelf != shelf:
                gone = shelf == "deleted"
                since: dict[str, Any] = {
                    "deleted": now() if gone else None,
                    "deleted_age": age(connection) if gone else None,
                }
                _change(connection, found, shelf=shelf, **since)
            return _stored(_row(connection, job))

    def to_be_swept(self) -> bool:
        """Return whether there are jobs that were deleted 30 days ago by its own count of time (see `elapsed`)."""
        with self._database.read() as connection:
            return connection.scalar(sa.select(job_table.c.id).where(_long_deleted(connection)).limit(1)) is not None

    def sweep(self) -> int:
        """Remove those jobs with everything that belongs to them; return their number."""
        with self._database.write() as connection:
            return connection.execute(job_table.delete().where(_long_deleted(connection))).rowcount


def _long_deleted(connection: sa.Connection) -> sa.ColumnElement[bool]:
    job = job_table.c
    return (job.shelf == "deleted") & (job.deleted_age <= age(connection) - KEPT_DAYS * DAY_S)


def no_such_job() -> CallError:
    """Return the error for a job that doesn't exist."""
    return CallError(
        say("there is no such job"),
        code="no_such_job",
        remedy=say("see the list of jobs; it may have been removed after deletion"),
    )


def lock_job(connection: sa.Connection, name: str) -> JobState:
    """Lock a job until the end of the transaction, so that it isn't removed meanwhile; return its state. CallError `no_such_job`."""
    writable(job=name)
    row = connection.execute(_LOCK, {"name": name}).one_or_none()
    if row is None:
        raise no_such_job()
    state: JobState = row.shelf
    return state


def refuse_deleted(connection: sa.Connection, name: str, state: JobState) -> None:
    """Refuse to store something with a deleted job: it would be removed with it.

    Raises
    ------
    CallError : `job_deleted`, naming the job.
    """
    if state == "deleted":
        raise job_deleted(_row(connection, name).version_title)


def _row(connection: sa.Connection, name: str, *, lock: bool = False) -> AnyRow:
    writable(job=name)
    if lock:  # a statement of its own: a join would return the row as it was before waiting for the lock
        connection.execute(_LOCK, {"name": name})
    row = connection.execute(_ONE, {"name": name}).one_or_none()
    if row is None:
        raise no_such_job()
    if not _is_whole(row):
        raise damaged(say("the job {job}", job=name))
    return row


def _row_as_seen(connection: sa.Connection, name: str, seen: int) -> AnyRow:
    """Return the row of a job, locked, if its revision is still `seen`."""
    row = _row(connection, name, lock=True)
    if row.shelf == "deleted":
        raise job_deleted(row.version_title)
    if row.revision != seen:
        raise _changed_meanwhile()
    return row


def _changed_meanwhile() -> ConflictError:
    return ConflictError(
        say("the job was changed by somebody else meanwhile"),
        code="conflict",
        remedy=say("look at the present job, then make your change again; nothing was written"),
    )


def _set_version(connection: sa.Connection, found: AnyRow, version: int, **values: int) -> StoredJob:
    """Set the current version of a job."""
    there = (job_version.c.job == found.id) & (job_version.c.number == version)
    current = connection.execute(sa.select(job_version).where(there)).one()
    verified(job_version, current, say("the job {job}", job=found.id))
    values |= {"version": version, "revision": found.revision + 1}
    _change(connection, found, words=searched(current.title, current.text), changed=now(), **values)
    return _stored(_row(connection, found.id))


def _change(connection: sa.Connection, found: AnyRow, *, words: str | None = None, **values: Any) -> None:
    """Change values of a job's row, and seal it again."""
    row = {column.name: getattr(found, column.name) for column in _SHOWN} | values
    searchable = {} if words is None else {"words": words}
    changed = job_table.update().where(job_table.c.id == found.id).values(**sealed(job_table, row), **searchable)
    connection.execute(changed)


def _version(name: str, number: int, title: str, text: str, by: str, at: datetime) -> sa.Insert:
    row = {"job": name, "number": number, "title": title, "text": text, "by": by, "at": at}
    return job_version.insert().values(**sealed(job_version, row))


def _is_whole(row: AnyRow) -> bool:
    return is_whole(job_table, row) and is_whole(job_version, row, prefix=_OF_VERSION)


def _damaged(row: AnyRow) -> StoredJob:
    """Return what a list shows of a job that isn't as it was stored; `get` says so, too."""
    title = say("damaged: {job}", job=str(row.id))
    never = datetime.fromtimestamp(0, UTC)
    return StoredJob(str(row.id), title, "", 0, "kept", 0, 0, never, never)


def _stored(row: AnyRow) -> StoredJob:
    return StoredJob(
        id=row.id,
        title=row.version_title,
        text=row.version_text,
        revision=row.revision,
        shelf=row.shelf,
        undoable=row.version - 1,
        redoable=row.versions - row.version,
        created=row.created,
        changed=row.changed,
    )
