"""Set-up runs: entries are only ever added."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from gainwright.adapters.store.jobs import no_such_job
from gainwright.adapters.store.tables import job as job_table
from gainwright.adapters.store.tables import now, run_entry, writable
from gainwright.app.store import ConflictError, RunEntry

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.adapters.store.database import Database
    from gainwright.app.store import RunKind


class SqlRuns:
    """Set-up runs in a database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def entries(self, job: str) -> list[RunEntry]:
        """Return everything said so far, in order."""
        writable(job=job)
        wanted = sa.select(run_entry).where(run_entry.c.job == job).order_by(run_entry.c.number)
        with self._database.read() as connection:
            rows = connection.execute(wanted).all()
        return [RunEntry(r.number, r.step, r.kind, r.text, r.value, r.by, r.at) for r in rows]

    def add(
        self, job: str, *, step: str, kind: RunKind, text: str, value: Mapping[str, Any], by: str, seen: int
    ) -> RunEntry:
        """Keep an entry. `seen` is the number of the step's last entry that the writer knew, 0 for none. ConflictError: there is a newer one."""
        writable(job=job, step=step, kind=kind, text=text, by=by)
        with self._database.write() as connection:
            if connection.scalar(sa.select(job_table.c.id).where(job_table.c.id == job).with_for_update()) is None:
                raise no_such_job()
            highest = sa.func.coalesce(sa.func.max(run_entry.c.number), 0)
            of_job = run_entry.c.job == job
            if connection.scalar(sa.select(highest).where(of_job, run_entry.c.step == step)) != seen:
                raise ConflictError(
                    "somebody else has said something of this step meanwhile",
                    code="conflict",
                    remedy="look at the step as it stands now, then say it again; nothing was written",
                )
            number = connection.scalars(sa.select(highest).where(of_job)).one() + 1
            entry = RunEntry(number, step, kind, text, dict(value), by, now())
            row = {"job": job, "number": number, "step": step, "kind": kind, "text": text, "by": by, "at": entry.at}
            connection.execute(run_entry.insert().values(**row, value=entry.value))
        return entry
