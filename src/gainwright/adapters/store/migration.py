"""Upgrades the tables of a store to the newest revision in one transaction, after writing a backup next to it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.store.backup import backup_beside, remove_parts
from gainwright.adapters.store.revisions import known_revision, upgrade, wrong_tables
from gainwright.adapters.store.tables import NEWEST
from gainwright.errors import CallError

if TYPE_CHECKING:
    from gainwright.adapters.store.database import Database

_LOCK = 0x6761696E
"""Number of the PostgreSQL advisory lock held during an upgrade."""


def migrate(database: Database, to: str = NEWEST) -> None:
    """Create the tables, or upgrade older ones.

    Raises
    ------
    CallError : it was made by a newer program, isn't a store, or can't be upgraded; then it is unchanged.
    """
    with database.snapshot() as connection:
        before = known_revision(database, connection)
    if before == to:
        return
    with database.write() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_LOCK)))
        before = known_revision(database, connection)
        if before == to:  # another process was first
            return
        if before is not None:
            if wrong := wrong_tables(connection):
                raise CallError(
                    f"it can't be upgraded: {wrong[0]}",
                    code="store_damaged",
                    where=database.name,
                    remedy="restore a backup: gainwright store restore FILE keeps the damaged file next to it",
                )
            # nobody else upgrades now: what is there of such a copy was left by a process that was killed
            remove_parts(database)
            backup_beside(database, f"before-upgrade-from-{before}")
        try:
            upgrade(connection, to)
        except (ValueError, LookupError, TypeError) as error:  # raised by a revision because of the store's content
            raise CallError(
                f"it can't be upgraded: {str(error)[:200]}",
                code="not_upgraded",
                where=database.name,
                remedy="nothing was changed; restore a backup, or ask for help with: gainwright store check",
            ) from error
