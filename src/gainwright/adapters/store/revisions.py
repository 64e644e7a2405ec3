"""The revision of a store's tables: finding it, checking that this program knows it, and upgrading it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.store.database import place_name
from gainwright.adapters.store.tables import NEWEST, tables
from gainwright.errors import CallError
from gainwright.quantities import whole_number

if TYPE_CHECKING:
    from gainwright.adapters.store.database import Database


def revision_of(connection: sa.Connection) -> str | None:
    """Return the revision of a store's tables; None if there are none yet.

    Raises
    ------
    CallError : the database has tables, but they aren't a store.
    """
    there = sa.inspect(connection).get_table_names()
    if "alembic_version" not in there:
        if there and (connection.dialect.name == "sqlite" or set(there) & set(tables.tables)):
            where = place_name(connection.engine.url)
            raise CallError(
                "it contains something other than a store", code="no_store", where=where, remedy="name another"
            )
        return None
    revision: str | None = connection.scalar(sa.text("SELECT version_num FROM alembic_version"))
    return revision


def known_revision(database: Database, connection: sa.Connection) -> str | None:
    """Return the revision of a store's tables, None if there are none yet.

    Raises
    ------
    CallError : it was made by a newer program, or isn't a store.
    """
    revision = revision_of(connection)
    if revision is not None and (whole_number(revision) is None or int(revision) > int(NEWEST)):
        raise CallError(
            f"it was made by a newer Gainwright (store revision {revision[:20]}, this one knows {NEWEST})",
            code="newer_store",
            where=database.name,
            remedy="install the newer Gainwright",
        )
    return revision


_VERSION = sa.Table(
    "alembic_version",
    sa.MetaData(),
    sa.Column("version_num", sa.String(32)),
    sa.PrimaryKeyConstraint("version_num", name="alembic_version_pkc"),
)
"""Where the revision stands, under the name that stores have had since the first."""
_SINCE = {"step_note": 5, "step_photo": 5, "store_time": 7}
"""The revision that made a table, of those that the first one didn't make."""
_COLUMN_SINCE = {
    ("job", "words"): 2,
    ("kept_case", "words"): 2,
    ("run_entry", "key"): 4,
    ("kept_case", "closed_as"): 6,
    ("job", "deleted_age"): 7,
    ("document", "revision"): 7,
    ("store_time", "digest"): 8,
}
"""The same of columns that were added to a table; the checksums of the other tables came with revision 7."""


def wrong_tables(connection: sa.Connection) -> list[str]:
    """Return a sentence for each table and column that a store of its revision should have and hasn't, and one if it has later ones."""
    revision = whole_number(revision_of(connection) or "") or 0
    look = sa.inspect(connection)
    there = {name: {column["name"] for column in look.get_columns(name)} for name in look.get_table_names()}
    wrong, later = [], ""
    for table in tables.tables.values():
        if (table.name in there) != (_SINCE.get(table.name, 1) <= revision):
            later = later or (table.name if table.name in there else "")
            wrong += [] if table.name in there else [f"the table {table.name} is missing"]
            continue
        for column in table.columns if table.name in there else ():
            since = _COLUMN_SINCE.get((table.name, column.name), 7 if column.name == "digest" else 1)
            if column.name not in there[table.name] and since <= revision:
                wrong.append(f"the column {column.name} of {table.name} is missing")
            elif column.name in there[table.name] and since > revision:
                later = later or table.name
    return wrong + ([f"its revision is damaged: it says {revision}, and {later} is of a later one"] if later else [])


def upgrade(connection: sa.Connection, to: str) -> None:
    """Create the tables of a revision, or upgrade older ones to it, within the connection's transaction."""
    from gainwright.adapters.store.alterations import Alterations
    from gainwright.adapters.store.migrations import REVISIONS

    before = revision_of(connection)
    alterations = Alterations(connection)
    if before is None:
        connection.execute(sa.schema.CreateTable(_VERSION))
    for revision, change in REVISIONS.items():
        if int(before or 0) < int(revision) <= int(to):
            change(alterations)
    connection.execute(_VERSION.delete())
    connection.execute(_VERSION.insert().values(version_num=to))
