"""An entry of a run has the key that its writer gave it, so that sending it again stores nothing."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "4"
down_revision = "3"


def upgrade() -> None:
    """Add the column; earlier entries have no key."""
    op.add_column("run_entry", sa.Column("key", sa.Text, nullable=False, server_default=""))
