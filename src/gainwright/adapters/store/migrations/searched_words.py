"""Jobs and cases are found by words that lie ready; lists come in order without sorting."""

from __future__ import annotations

import json
import unicodedata
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

if TYPE_CHECKING:
    from gainwright.adapters.store.alterations import Alterations


def upgrade(tables: Alterations) -> None:
    """Add the columns, fill them from what is kept, add the indexes."""
    for table in ("job", "kept_case"):
        tables.add_column(table, sa.Column("words", sa.Text, nullable=False, server_default=""))
    connection = tables.connection
    _fill_jobs(connection)
    _fill_cases(connection)
    tables.create_index("ix_job_shelf_changed", "job", ["shelf", "changed"])
    tables.create_index("ix_recording_job_at", "recording", ["job", "at"])


def _fill_jobs(connection: sa.Connection) -> None:
    job = sa.table("job", sa.column("id"), sa.column("version"), sa.column("words"))
    version = sa.table("job_version", sa.column("job"), sa.column("number"), sa.column("title"), sa.column("text"))
    current = sa.select(job.c.id, version.c.title, version.c.text).join_from(
        job, version, (version.c.job == job.c.id) & (version.c.number == job.c.version)
    )
    for row in connection.execute(current).all():
        words = _searched(row.title, row.text)
        connection.execute(job.update().where(job.c.id == row.id).values(words=words))


def _fill_cases(connection: sa.Connection) -> None:
    case = sa.table("kept_case", sa.column("name"), sa.column("content"), sa.column("words"))
    for row in connection.execute(sa.select(case.c.name, case.c.content)).all():
        words = _searched(row.name, *_texts(json.loads(row.content)))
        connection.execute(case.update().where(case.c.name == row.name).values(words=words))


# as it was when this revision was made: what the program does today may not change what an old store becomes
def _searched(*texts: str) -> str:
    return "\n".join(unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", t).casefold()) for t in texts)


def _texts(content: Any) -> list[str]:
    if isinstance(content, dict):
        return [text for value in content.values() for text in _texts(value)]
    if isinstance(content, list):
        return [text for value in content for text in _texts(value)]
    return [content] if isinstance(content, str) else [] if content is None else [json.dumps(content)]
