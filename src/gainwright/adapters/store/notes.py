"""Notes of the steps of a run, each with a photo or without; the photos are in a table of their own."""

from __future__ import annotations

import secrets
from dataclasses import asdict
from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.store.digests import sealed, verified
from gainwright.adapters.store.jobs import lock_job, refuse_deleted
from gainwright.adapters.store.tables import now, step_note, step_photo, writable
from gainwright.app.store import StepNote
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.adapters.store.database import Database
    from gainwright.adapters.store.tables import AnyRow


class SqlNotes:
    """Notes in a database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def of(self, job: str) -> list[StepNote]:
        """Return a job's notes, oldest first."""
        writable(job=job)
        wanted = sa.select(step_note).where(step_note.c.job == job).order_by(step_note.c.at, step_note.c.id)
        with self._database.read() as connection:
            return [_note(row) for row in connection.execute(wanted)]

    def add(
        self, job: str, *, step: str, text: str, by: str, photo: bytes = b"", media_type: str = "", key: str = ""
    ) -> StepNote:
        """Add a note; one with the same key is in the store already, and is returned."""
        writable(job=job, step=step, text=text, by=by, media_type=media_type, key=key)
        note = StepNote(secrets.token_hex(8), job, step, text, media_type, len(photo), by, now(), key)
        same = sa.select(step_note).where(step_note.c.job == job, step_note.c.key == key)
        with self._database.write() as connection:
            # the lock on the job prevents its removal in between, and a second note of the same key
            state = lock_job(connection, job)
            there = connection.execute(same).first() if key else None
            if there is not None:
                return _note(there)
            refuse_deleted(connection, job, state)
            connection.execute(step_note.insert().values(**sealed(step_note, asdict(note))))
            if media_type:
                row = sealed(step_photo, {"note": note.id, "content": photo})
                connection.execute(step_photo.insert().values(**row))
        return note

    def get(self, note: str) -> StepNote:
        """Return a note. CallError `no_such_note`."""
        writable(note=note)
        with self._database.read() as connection:
            row = connection.execute(sa.select(step_note).where(step_note.c.id == note)).one_or_none()
        if row is None:
            raise _no_such_note()
        return _note(row)

    def photo(self, note: str) -> bytes:
        """Return the photo of a note. CallError `no_such_note`: there is no such note, or it has no photo."""
        writable(note=note)
        with self._database.read() as connection:
            row = connection.execute(sa.select(step_photo).where(step_photo.c.note == note)).one_or_none()
        if row is None:
            raise _no_such_note()
        return bytes(verified(step_photo, row, say("the photo {note}", note=note)).content)

    def remove(self, note: str) -> None:
        """Remove a note with its photo. CallError `job_deleted`: its job is deleted."""
        writable(note=note)
        its = step_note.c.id == note
        with self._database.write() as connection:
            job = connection.scalar(sa.select(step_note.c.job).where(its))
            if job is not None:
                refuse_deleted(connection, job, lock_job(connection, job))
            connection.execute(step_note.delete().where(its))


def _no_such_note() -> CallError:
    return CallError(say("there is no such note"), code="no_such_note", remedy=say("see the notes of the step"))


def _note(row: AnyRow) -> StepNote:
    verified(step_note, row, say("the note {note}", note=row.id))
    return StepNote(row.id, row.job, row.step, row.text, row.media_type, row.size, row.by, row.at, row.key)
