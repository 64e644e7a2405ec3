"""Closed cases are counted by cause, complaint and kind of chain, from an index."""

from __future__ import annotations

import json

import sqlalchemy as sa
from alembic import op

revision = "6"
down_revision = "5"


def upgrade() -> None:
    """Put the sort of each closed case in the place of its cause; complaint and chain weren't noted until now."""
    op.add_column("kept_case", sa.Column("closed_as", sa.Text))
    case = sa.table("kept_case", *(sa.column(name) for name in ("name", "closed_cause", "closed_as")))
    connection = op.get_bind()
    for cause in connection.scalars(
        sa.select(case.c.closed_cause).where(case.c.closed_cause.is_not(None)).distinct()
    ).all():
        sort = json.dumps([cause, "", ""])
        connection.execute(case.update().where(case.c.closed_cause == cause).values(closed_as=sort))
    op.drop_index("ix_kept_case_closed_cause", "kept_case")
    op.drop_column("kept_case", "closed_cause")
    op.create_index("ix_kept_case_closed_as", "kept_case", ["closed_as"])
