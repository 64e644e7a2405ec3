"""Check of a whole store: the database itself, and whether everything in it can be read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.store import tables as t
from gainwright.adapters.store.integrity import integrity_problems
from gainwright.adapters.store.revisions import known_revision
from gainwright.errors import CallError, GainwrightError
from gainwright.jobfile import read_job_text
from gainwright.model import Case

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.adapters.store.database import Database

_COUNTED = {
    "jobs": t.job,
    "versions": t.job_version,
    "entries": t.run_entry,
    "notes": t.step_note,
    "recordings": t.recording,
    "cases": t.kept_case,
    "devices": t.device,
    "documents": t.document,
}


@dataclass(frozen=True, slots=True)
class StoreCheck:
    """What a check of a store found.

    Attributes
    ----------
    revision : of the tables.
    holds : number of entries of each kind.
    wrong : one sentence for each problem.
    """

    where: str
    revision: str
    holds: dict[str, int]
    wrong: tuple[str, ...]


def check(database: Database) -> StoreCheck:
    """Check a whole store of any known revision; nothing is changed.

    Raises
    ------
    CallError : there is no store, or it can't be read at all.
    """
    with database.snapshot() as connection:
        revision = known_revision(database, connection)
        if revision is None:
            raise CallError("there is no store yet", code="no_store", where=database.name)
        wrong = integrity_problems(connection)
        there = sa.inspect(connection).get_table_names()
        holds = {
            name: connection.scalars(sa.select(sa.func.count()).select_from(table)).one() if table.name in there else 0
            for name, table in _COUNTED.items()
        }
        for look in (_jobs, _versions, _entries, _recordings, _cases):
            wrong += look(connection)
        wrong += _photos(connection) if t.step_note.name in there else ()
    return StoreCheck(database.name, revision, holds, tuple(wrong))


def _jobs(connection: sa.Connection) -> Iterator[str]:
    version = t.job_version.c
    wanted = sa.select(t.job.c.id, version.title, version.text).join(
        t.job_version, (version.job == t.job.c.id) & (version.number == t.job.c.version), isouter=True
    )
    for row in connection.execute(wanted.execution_options(yield_per=100)):
        if row.text is None:
            yield f"the job {row.id} has no text"
            continue
        try:
            read_job_text(row.text)
        except GainwrightError as error:
            yield f"the job {row.id} ({row.title[:60]}) can't be read: {error}"


def _versions(connection: sa.Connection) -> Iterator[str]:
    number = t.job_version.c.number
    wanted = (
        sa.select(t.job.c.id, t.job.c.versions, sa.func.count(number), sa.func.max(number))
        .join(t.job_version, t.job_version.c.job == t.job.c.id, isouter=True)
        .group_by(t.job.c.id, t.job.c.versions)
    )
    for name, expected, there, highest in connection.execute(wanted):
        if not expected == there == highest:
            yield f"the job {name} should have {expected} versions and has {there}"


def _entries(connection: sa.Connection) -> Iterator[str]:
    entry = t.run_entry.c
    wanted = sa.select(entry.job, sa.func.count(), sa.func.max(entry.number)).group_by(entry.job)
    for name, there, highest in connection.execute(wanted):
        if there != highest:
            yield f"the run of job {name} should have {highest} entries and has {there}"


def _recordings(connection: sa.Connection) -> Iterator[str]:
    kept, content = t.recording.c, t.recording_content.c
    wanted = sa.select(kept.id, kept.name, kept.size, sa.func.length(content.content)).join(
        t.recording_content, content.recording == kept.id, isouter=True
    )
    for name, title, size, there in connection.execute(wanted):
        if size != there:
            yield f"the recording {name} ({title[:60]}) should have {size} bytes and has {there or 0}"


def _photos(connection: sa.Connection) -> Iterator[str]:
    kept, content = t.step_note.c, t.step_photo.c
    wanted = sa.select(kept.id, kept.step, kept.size, sa.func.length(content.content)).join(
        t.step_photo, content.note == kept.id, isouter=True
    )
    for name, step, size, there in connection.execute(wanted):
        if size != (there or 0):
            yield f"the photo {name} of {step[:60]} should have {size} bytes and has {there or 0}"


def _cases(connection: sa.Connection) -> Iterator[str]:
    wanted = sa.select(t.kept_case.c.name, t.kept_case.c.content)
    for row in connection.execute(wanted.execution_options(yield_per=100)):
        try:
            Case.model_validate(row.content)
        except ValueError as error:
            yield f"the case {row.name} can't be read: {str(error).splitlines()[0]}"
