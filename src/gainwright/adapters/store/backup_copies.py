"""What a backup has of something that is damaged in the store."""

from __future__ import annotations

from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.store import tables as t
from gainwright.adapters.store.digests import is_whole
from gainwright.adapters.store.reading import only_reading
from gainwright.errors import CallError

if TYPE_CHECKING:
    from pathlib import Path

    from gainwright.adapters.store.damage import Damage
    from gainwright.adapters.store.database import Database

AS_IT_WAS, ANOTHER_STATE = "as it was", "in another state"


class Copies:
    """A backup, in which the same things are looked for."""

    def __init__(self, file: Path) -> None:
        self.file = file

    def state_of(self, damage: Damage) -> str | None:
        """Return in which state the backup has it; None when it hasn't, is damaged there too, or can't be read."""
        try:
            return only_reading(self.file, lambda database: _state(database, damage))
        except CallError:
            return None


def _state(database: Database, damage: Damage) -> str | None:
    table = t.tables.tables[damage.table]
    its = [column == value for column, value in zip(table.primary_key.columns, damage.key, strict=True)]
    with database.snapshot() as connection:
        there = {column["name"] for column in sa.inspect(connection).get_columns(table.name)}
        row = connection.execute(sa.select(*(c for c in table.columns if c.name in there)).where(*its)).one_or_none()
    if row is None:
        return None
    if "digest" not in there:  # a backup from before there were checksums
        return ANOTHER_STATE
    if not is_whole(table, row):
        return None
    return AS_IT_WAS if row.digest == damage.digest else ANOTHER_STATE
