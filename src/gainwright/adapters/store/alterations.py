"""Statements that change tables, as revisions give them: the same on SQLite and PostgreSQL."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import sqlalchemy as sa
from sqlalchemy import schema

if TYPE_CHECKING:
    from collections.abc import Sequence


class Alterations:
    """Changes tables on a connection, in its transaction.

    Attributes
    ----------
    connection : for a revision that also changes what is in the tables.
    """

    def __init__(self, connection: sa.Connection) -> None:
        self.connection = connection
        self._known = sa.MetaData()

    def create_table(self, name: str, *columns: sa.Column[Any]) -> None:
        """Make a table; what its keys refer to is there."""
        for key in (key for column in columns for key in column.foreign_keys):
            target = key.target_fullname.partition(".")[0]
            if target not in self._known.tables:
                sa.Table(target, self._known, autoload_with=self.connection)
        self.connection.execute(schema.CreateTable(sa.Table(name, self._known, *columns)))

    def add_column(self, table: str, column: sa.Column[Any]) -> None:
        """Add a column to a table."""
        dialect = self.connection.dialect
        there = sa.Table(table, sa.MetaData(), column)
        wanted = schema.CreateColumn(column).compile(dialect=dialect)
        named = dialect.identifier_preparer.format_table(there)
        self.connection.exec_driver_sql(f"ALTER TABLE {named} ADD COLUMN {wanted}")

    def drop_column(self, table: str, name: str) -> None:
        """Take a column out of a table with what is in it."""
        quote = self.connection.dialect.identifier_preparer.quote
        self.connection.exec_driver_sql(f"ALTER TABLE {quote(table)} DROP COLUMN {quote(name)}")

    def create_index(self, name: str, table: str, columns: Sequence[str]) -> None:
        """Make an index of columns."""
        self.connection.execute(schema.CreateIndex(_index(name, table, columns)))

    def drop_index(self, name: str, table: str, columns: Sequence[str]) -> None:
        """Drop an index of columns."""
        self.connection.execute(schema.DropIndex(_index(name, table, columns)))


def _index(name: str, table: str, columns: Sequence[str]) -> sa.Index:
    of = sa.Table(table, sa.MetaData(), *(sa.Column(column, sa.Text) for column in columns))
    return sa.Index(name, *(of.c[column] for column in columns))
