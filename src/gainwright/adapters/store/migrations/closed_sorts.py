"""Closed cases are counted by cause, complaint and kind of chain, from an index."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import sqlalchemy as sa

if TYPE_CHECKING:
    from gainwright.adapters.store.alterations import Alterations


def upgrade(tables: Alterations) -> None:
    """Put the sort of each closed case in the place of its cause; complaint and chain weren't noted until now."""
    tables.add_column("kept_case", sa.Column("closed_as", sa.Text))
    case = sa.table("kept_case", *(sa.column(name) for name in ("name", "closed_cause", "closed_as")))
    connection = tables.connection
    for cause in connection.scalars(
        sa.select(case.c.closed_cause).where(case.c.closed_cause.is_not(None)).distinct()
    ).all():
        sort = json.dumps([cause, "", ""])
        connection.execute(case.update().where(case.c.closed_cause == cause).values(closed_as=sort))
    tables.drop_index("ix_kept_case_closed_cause", "kept_case", ["closed_cause"])
    tables.drop_column("kept_case", "closed_cause")
    tables.create_index("ix_kept_case_closed_as", "kept_case", ["closed_as"])
