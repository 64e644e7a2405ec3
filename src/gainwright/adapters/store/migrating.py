"""Brings the tables of a store to the newest revision, whole or not at all, with a backup of an older one beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.store.database import place_name
from gainwright.adapters.store.tables import NEWEST, tables
from gainwright.errors import CallError

if TYPE_CHECKING:
    from gainwright.adapters.store.database import Database

_LOCK = 0x6761696E
"""Number of the PostgreSQL lock that one upgrader at a time holds."""


def revision_of(connection: sa.Connection) -> str | None:
    """Return the revision of a store's tables; None when there are none yet.

    Raises
    ------
    CallError : the database holds tables, but they are no store.
    """
    there = sa.inspect(connection).get_table_names()
    if "alembic_version" not in there:
        if there and (connection.dialect.name == "sqlite" or set(there) & set(tables.tables)):
            where = place_name(connection.engine.url)
            raise CallError("it holds something else than a store", code="no_store", where=where, remedy="name another")
        return None
    revision: str | None = connection.scalar(sa.text("SELECT version_num FROM alembic_version"))
    return revision


def migrate(database: Database, to: str = NEWEST) -> None:
    """Make the tables, or bring older ones up.

    Raises
    ------
    CallError : it was made by a newer program, or is no store, or can't be upgraded; then it is as it was.
    """
    with database.moment() as connection:
        before = known_revision(database, connection)
    if before == to:
        return
    if before is not None:
        from gainwright.adapters.store.carrying import backup_beside

        backup_beside(database, f"before-upgrade-from-{before}")
    with database.write() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_LOCK)))
        if known_revision(database, connection) != to:  # another process may have been first
            try:
                _upgrade(connection, to)
            except (ValueError, LookupError, TypeError) as error:  # from what a revision found in the store
                raise CallError(
                    f"it can't be upgraded: {str(error)[:200]}",
                    code="not_upgraded",
                    where=database.name,
                    remedy="it is as it was; bring a backup back, or ask for help with: gainwright store check",
                ) from error


def known_revision(database: Database, connection: sa.Connection) -> str | None:
    """Return the revision of a store's tables, None when there are none yet.

    Raises
    ------
    CallError : it was made by a newer program, or is no store.
    """
    revision = revision_of(connection)
    if revision is not None and (not revision.isdecimal() or int(revision) > int(NEWEST)):
        raise CallError(
            f"it was made by a newer Gainwright (store revision {revision[:20]}, this one knows {NEWEST})",
            code="newer_store",
            where=database.name,
            remedy="install the newer Gainwright",
        )
    return revision


def _upgrade(connection: sa.Connection, to: str) -> None:
    from pathlib import Path

    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).with_name("migrations")).replace("%", "%%"))
    config.attributes |= {"connection": connection, "tables": tables}
    command.upgrade(config, to)
