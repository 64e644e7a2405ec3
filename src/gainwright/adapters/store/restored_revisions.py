"""Revisions after a restore: what somebody saw before it is never taken for what is there now."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from gainwright.adapters.store.digests import is_whole, sealed
from gainwright.adapters.store.tables import document, job, kept_case

if TYPE_CHECKING:
    Seen = dict[str, dict[tuple[Any, ...], tuple[int, str]]]

_WITH_REVISION = (job, kept_case, document)


def revisions_in(connection: sa.Connection) -> Seen:
    """Return the revision and the checksum of each row that has a revision, by table and key."""
    return {
        table.name: {
            tuple(key): (revision, digest)
            for revision, digest, *key in connection.execute(
                sa.select(table.c.revision, table.c.digest, *table.primary_key.columns)
            )
        }
        for table in _WITH_REVISION
    }


def raise_revisions(connection: sa.Connection, before: Seen) -> None:
    """Give each row that was in another state before a restore a revision that it has never had."""
    for table in _WITH_REVISION:
        known = before[table.name]
        now = revisions_in(connection)[table.name]
        for key, (revision, digest) in now.items():
            if key not in known or known[key][1] == digest:
                continue
            its = sa.and_(*(c == value for c, value in zip(table.primary_key.columns, key, strict=True)))
            columns = [column for column in table.columns if column.name != "words"]
            row = connection.execute(sa.select(*columns).where(its)).one()
            if is_whole(table, row):
                former: Any = known[key][0]  # of a damaged store it may be anything
                highest = max(revision, former) if isinstance(former, int) else revision
                again = {**row._mapping, "revision": highest + 1}
                connection.execute(table.update().where(its).values(**sealed(table, again)))
