"""Notes and photos of the steps of a set-up run."""

from __future__ import annotations

from typing import TYPE_CHECKING

import sqlalchemy as sa

if TYPE_CHECKING:
    from gainwright.adapters.store.alterations import Alterations


def upgrade(tables: Alterations) -> None:
    """Make their tables."""
    tables.create_table(
        "step_note",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("job", sa.Text, sa.ForeignKey("job.id", ondelete="CASCADE"), nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("step", "text", "media_type")),
        sa.Column("size", sa.BigInteger, nullable=False),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("key", sa.Text, nullable=False),
    )
    tables.create_index("ix_step_note_job_at", "step_note", ["job", "at"])
    tables.create_table(
        "step_photo",
        sa.Column("note", sa.Text, sa.ForeignKey("step_note.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("content", sa.LargeBinary, nullable=False),
    )
