"""Closed cases are counted by their cause from an index, without reading the cases."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

if TYPE_CHECKING:
    from gainwright.adapters.store.alterations import Alterations


def upgrade(tables: Alterations) -> None:
    """Add the column, fill it from the cases, add the index."""
    tables.add_column("kept_case", sa.Column("closed_cause", sa.Text))
    case = sa.table("kept_case", sa.column("name"), sa.column("content"), sa.column("closed_cause"))
    connection = tables.connection
    for row in connection.execute(sa.select(case.c.name, case.c.content)).all():
        cause = _cause(json.loads(row.content))
        if cause is not None:
            connection.execute(case.update().where(case.c.name == row.name).values(closed_cause=cause))
    tables.create_index("ix_kept_case_closed_cause", "kept_case", ["closed_cause"])


def _cause(content: dict[str, Any]) -> str | None:
    closed = content.get("closed")
    return None if closed is None else str(closed["cause"])
