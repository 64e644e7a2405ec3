"""The first tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

import sqlalchemy as sa

if TYPE_CHECKING:
    from gainwright.adapters.store.alterations import Alterations

text, whole, moment = sa.Text, sa.Integer, sa.BigInteger


def upgrade(tables: Alterations) -> None:
    """Make them."""
    _jobs(tables)
    _of_jobs(tables)
    _others(tables)


def _jobs(tables: Alterations) -> None:
    tables.create_table(
        "job",
        sa.Column("id", text, primary_key=True),
        *(sa.Column(name, whole, nullable=False) for name in ("revision", "version", "versions")),
        sa.Column("shelf", text, nullable=False),
        *(sa.Column(name, moment, nullable=False) for name in ("created", "changed")),
        sa.Column("deleted", moment),
    )
    tables.create_table(
        "job_version",
        sa.Column("job", text, sa.ForeignKey("job.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("number", whole, primary_key=True),
        *(sa.Column(name, text, nullable=False) for name in ("title", "text", "by")),
        sa.Column("at", moment, nullable=False),
    )


def _of_jobs(tables: Alterations) -> None:
    tables.create_table(
        "run_entry",
        sa.Column("job", text, sa.ForeignKey("job.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("number", whole, primary_key=True),
        *(sa.Column(name, text, nullable=False) for name in ("step", "kind", "text", "value", "by")),
        sa.Column("at", moment, nullable=False),
    )
    tables.create_table(
        "recording",
        sa.Column("id", text, primary_key=True),
        sa.Column("job", text, sa.ForeignKey("job.id", ondelete="CASCADE"), nullable=False),
        sa.Column("name", text, nullable=False),
        sa.Column("size", moment, nullable=False),
        sa.Column("measured", text, nullable=False),
        sa.Column("at", moment, nullable=False),
    )
    tables.create_table(
        "recording_content",
        sa.Column("recording", text, sa.ForeignKey("recording.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("content", sa.LargeBinary, nullable=False),
    )


def _others(tables: Alterations) -> None:
    tables.create_table(
        "kept_case",
        sa.Column("name", text, primary_key=True),
        sa.Column("revision", whole, nullable=False),
        sa.Column("content", text, nullable=False),
        sa.Column("changed", moment, nullable=False),
    )
    tables.create_table(
        "device",
        sa.Column("id", text, primary_key=True),
        sa.Column("name", text, nullable=False),
        sa.Column("token_digest", text, nullable=False, unique=True),
        *(sa.Column(name, moment, nullable=False) for name in ("paired", "seen")),
        sa.Column("put_out", sa.Boolean, nullable=False),
    )
    tables.create_table(
        "document",
        *(sa.Column(name, text, primary_key=True) for name in ("kind", "key")),
        sa.Column("content", text, nullable=False),
        sa.Column("changed", moment, nullable=False),
    )
