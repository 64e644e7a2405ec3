"""An entry of a run has the key that its writer gave it, so that sending it again stores nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import sqlalchemy as sa

if TYPE_CHECKING:
    from gainwright.adapters.store.alterations import Alterations


def upgrade(tables: Alterations) -> None:
    """Add the column; earlier entries have no key."""
    tables.add_column("run_entry", sa.Column("key", sa.Text, nullable=False, server_default=""))
