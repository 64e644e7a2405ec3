"""Other documents, stored as JSON by kind and key."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite

from gainwright.adapters.store.tables import document, now, writable

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.adapters.store.database import Database


class SqlDocuments:
    """Documents in a database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def put(self, kind: str, key: str, content: Mapping[str, Any]) -> None:
        """Add or replace a document."""
        writable(kind=kind, key=key)
        insert = sqlite.insert if self._database.file else postgresql.insert
        values = {"content": dict(content), "changed": now()}
        row = insert(document).values(kind=kind, key=key, **values)
        with self._database.write() as connection:
            connection.execute(row.on_conflict_do_update(index_elements=["kind", "key"], set_=values))

    def get(self, kind: str, key: str) -> dict[str, Any] | None:
        """Return a document, None if there is none."""
        writable(kind=kind, key=key)
        wanted = sa.select(document.c.content).where(document.c.kind == kind, document.c.key == key)
        with self._database.read() as connection:
            content: dict[str, Any] | None = connection.scalar(wanted)
        return content

    def list(self, kind: str) -> list[tuple[str, dict[str, Any]]]:
        """Return key and content of each document of a kind, last changed first."""
        writable(kind=kind)
        table = document.c
        wanted = sa.select(table.key, table.content).where(table.kind == kind)
        with self._database.read() as connection:
            rows = connection.execute(wanted.order_by(table.changed.desc(), table.key)).all()
        return [(row.key, row.content) for row in rows]

    def remove(self, kind: str, key: str) -> None:
        """Remove a document, if it exists."""
        writable(kind=kind, key=key)
        with self._database.write() as connection:
            connection.execute(document.delete().where(document.c.kind == kind, document.c.key == key))
