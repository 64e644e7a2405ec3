"""The time for which the store has existed has a checksum too."""

from __future__ import annotations

from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.store.migrations.checksums import digest_of

if TYPE_CHECKING:
    from gainwright.adapters.store.alterations import Alterations


def upgrade(tables: Alterations) -> None:
    """Add the column, and seal the row that is there."""
    tables.add_column("store_time", sa.Column("digest", sa.Text, nullable=False, server_default=""))
    time = sa.table("store_time", *(sa.column(name) for name in ("id", "seconds", "latest", "digest")))
    for row in tables.connection.execute(sa.select(time.c.id, time.c.seconds, time.c.latest)).all():
        tables.connection.execute(time.update().where(time.c.id == row.id).values(digest=digest_of(list(row))))
