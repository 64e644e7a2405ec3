"""Check of a whole store: the database itself, the checksum of everything in it, and whether it can be read."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.store import tables as t
from gainwright.adapters.store.backup_copies import Copies
from gainwright.adapters.store.damage import Damage, damage_in
from gainwright.adapters.store.database_errors import database_errors
from gainwright.adapters.store.integrity import integrity_problems
from gainwright.adapters.store.revisions import known_revision, wrong_tables
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

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
class Damaged:
    """Something that isn't as it was stored, or can't be read.

    Attributes
    ----------
    table, key : where it lies.
    problem : one sentence.
    backups : file of each backup that has it -> "as it was", or "in another state".
    """

    table: str
    key: tuple[str | int, ...]
    problem: str
    backups: dict[str, str]


@dataclass(frozen=True, slots=True)
class StoreCheck:
    """What a check of a store found.

    Attributes
    ----------
    revision : of the tables.
    holds : number of entries of each kind.
    wrong : one sentence for each problem.
    damaged : of those, what isn't as it was stored or can't be read, with what the backups have of it.
    """

    where: str
    revision: str
    holds: dict[str, int]
    wrong: tuple[str, ...]
    damaged: tuple[Damaged, ...] = ()


def check(database: Database, backups: Sequence[Path] = ()) -> StoreCheck:
    """Check a whole store of any known revision; nothing is changed.

    Parameters
    ----------
    backups : in which what is damaged is looked for.

    Raises
    ------
    CallError : there is no store, or it can't be read at all.
    """
    with database.snapshot() as connection:
        revision = known_revision(database, connection)
        if revision is None:
            raise CallError("there is no store yet", code="no_store", where=database.name)
        lacking = wrong_tables(connection)
        wrong = lacking + integrity_problems(connection)
        holds = {name: _count(connection, table) for name, table in _COUNTED.items()}
        found: list[Damage] = []
        for table in t.tables.sorted_tables:
            if _has(connection, table):
                with _unreadable_noted(wrong, f"the table {table.name}"):
                    found += damage_in(connection, table)
        for look in (_versions, _entries, _recordings, _photos):
            with _unreadable_noted(wrong, "a table"):
                wrong += look(connection) if not lacking else ()
    copies = [Copies(file) for file in backups]
    damaged = tuple(_damaged(one, copies) for one in found)
    return StoreCheck(database.name, revision, holds, (*wrong, *map(_sentence, damaged)), damaged)


def _has(connection: sa.Connection, table: sa.Table) -> bool:
    return sa.inspect(connection).has_table(table.name)


def _count(connection: sa.Connection, table: sa.Table) -> int:
    if not _has(connection, table):
        return 0
    return connection.scalars(sa.select(sa.func.count()).select_from(table)).one()


@contextmanager
def _unreadable_noted(wrong: list[str], what: str) -> Iterator[None]:
    """Go on with the rest of a store when one of its tables can't be read."""
    try:
        yield
    except database_errors() as error:
        wrong.append(f"{what} can't be read: {getattr(error, 'orig', None) or error}")


def _damaged(found: Damage, copies: Sequence[Copies]) -> Damaged:
    held = {str(one.file): state for one in copies if (state := one.state_of(found)) is not None}
    return Damaged(found.table, found.key, found.problem, held)


def _sentence(damaged: Damaged) -> str:
    held = ", ".join(f"{Path(file).name} has it {state}" for file, state in damaged.backups.items())
    return f"{damaged.problem}; {held}" if held else damaged.problem


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


def _short(name: str | None) -> str:
    """Return the beginning of a name; a damaged page may have rows without one, though none is ever stored."""
    return (name or "no name")[:60]


def _recordings(connection: sa.Connection) -> Iterator[str]:
    kept, content = t.recording.c, t.recording_content.c
    wanted = sa.select(kept.id, kept.name, kept.size, sa.func.length(content.content)).join(
        t.recording_content, content.recording == kept.id, isouter=True
    )
    for name, title, size, there in connection.execute(wanted):
        if size != there:
            yield f"the recording {name} ({_short(title)}) should have {size} bytes and has {there or 0}"


def _photos(connection: sa.Connection) -> Iterator[str]:
    kept, content = t.step_note.c, t.step_photo.c
    wanted = sa.select(kept.id, kept.step, kept.size, sa.func.length(content.content)).join(
        t.step_photo, content.note == kept.id, isouter=True
    )
    for name, step, size, there in connection.execute(wanted):
        if size != (there or 0):
            yield f"the photo {name} of {_short(step)} should have {size} bytes and has {there or 0}"
