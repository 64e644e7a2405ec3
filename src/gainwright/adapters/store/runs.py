"""Set-up runs: entries are only ever added."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from gainwright.adapters.store.digests import sealed, verified
from gainwright.adapters.store.jobs import lock_job, refuse_deleted
from gainwright.adapters.store.tables import job, now, run_entry, writable
from gainwright.app.store import ConflictError, RunEntry
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from gainwright.adapters.store.database import Database
    from gainwright.adapters.store.tables import AnyRow
    from gainwright.app.store import RunKind

# built once, since a user waits for each reading to be stored
_OF_STEP = sa.func.max(run_entry.c.number).filter(run_entry.c.step == sa.bindparam("at_step"))
_HIGHEST = sa.select(sa.func.coalesce(sa.func.max(run_entry.c.number), 0), sa.func.coalesce(_OF_STEP, 0)).where(
    run_entry.c.job == sa.bindparam("of")
)
_SAME = sa.select(run_entry).where(
    *(run_entry.c[name] == sa.bindparam(f"same_{name}") for name in ("job", "key", "step", "kind", "text"))
)
_ADD = run_entry.insert()


class SqlRuns:
    """Set-up runs in a database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def entries(self, job: str) -> list[RunEntry]:
        """Return all entries so far, in order."""
        writable(job=job)
        wanted = sa.select(run_entry).where(run_entry.c.job == job).order_by(run_entry.c.number)
        with self._database.read() as connection:
            rows = connection.execute(wanted).all()
        return [_entry(row) for row in rows]

    def jobs_between(self, begin: datetime, end: datetime) -> dict[str, tuple[int, int]]:
        """Return the jobs, deleted ones excepted, with an entry made from `begin` on and before `end`: how many, and the last's number."""
        there = (
            sa.select(job.c.id, sa.func.count(), sa.func.max(run_entry.c.number))
            .join(run_entry, run_entry.c.job == job.c.id)
            .where(job.c.shelf != "deleted", run_entry.c.at >= begin, run_entry.c.at < end)
            .group_by(job.c.id)
            .order_by(job.c.id)
        )
        with self._database.read() as connection:
            return {name: (count, last) for name, count, last in connection.execute(there)}

    def add(
        self,
        job: str,
        *,
        step: str,
        kind: RunKind,
        text: str,
        value: Mapping[str, Any],
        by: str,
        seen: int,
        key: str = "",
    ) -> RunEntry:
        """Add an entry; `seen` is the number of the step's last entry known to the writer, 0 for none.

        The same step, kind and text with the same key again is the same entry, which is returned; nothing is written.
        ConflictError: there is a newer one.
        """
        writable(job=job, step=step, kind=kind, text=text, by=by, key=key)
        sent = {"job": job, "step": step, "kind": kind, "text": text, "key": key}
        with self._database.write() as connection:
            state = lock_job(connection, job)
            same = connection.execute(_SAME, {f"same_{name}": said for name, said in sent.items()}) if key else None
            if same is not None and (there := same.first()) is not None:
                return _entry(there)
            refuse_deleted(connection, job, state)
            of_job, of_step = connection.execute(_HIGHEST, {"of": job, "at_step": step}).one()
            if of_step != seen:
                raise ConflictError(
                    say("somebody else has entered something for this step meanwhile"),
                    code="conflict",
                    remedy=say("look at the present entry, then enter yours again; nothing was written"),
                )
            number = of_job + 1
            entry = RunEntry(number, step, kind, text, dict(value), by, now(), key)
            row = {**sent, "number": number, "by": by, "at": entry.at, "value": entry.value}
            connection.execute(_ADD, sealed(run_entry, row))
        return entry


def _entry(row: AnyRow) -> RunEntry:
    verified(run_entry, row, say("an entry of the run of job {job}", job=row.job))
    return RunEntry(row.number, row.step, row.kind, row.text, row.value, row.by, row.at, row.key)
