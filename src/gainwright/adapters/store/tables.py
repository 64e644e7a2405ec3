"""The tables of the newest revision, and the storage of times, JSON and searchable text."""

from __future__ import annotations

import json
import unicodedata
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, cast

import sqlalchemy as sa
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.functions import FunctionElement

from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from sqlalchemy.engine import Dialect
    from sqlalchemy.sql.compiler import SQLCompiler

    AnyRow = sa.Row[*tuple[Any, ...]]

NEWEST = "8"
"""The revision of these tables: that of the last migration."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_TICK = timedelta(microseconds=1)


DAMAGED: Any = object()
"""Stands in a row that was read for a value that isn't one of its column's; the row's checksum then doesn't fit."""


def moment_number(value: datetime) -> int:
    """Return a time as it is stored, microseconds since 1970, UTC."""
    return (value - _EPOCH) // _TICK


def json_text(value: Any) -> str:
    """Return JSON as it is stored."""
    return json.dumps(value, separators=(",", ":"))


class Moment(sa.types.TypeDecorator[datetime]):
    """A time as whole microseconds since 1970, UTC: the same in every database, and sortable."""

    impl = sa.BigInteger
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> int | None:
        """Return what is kept."""
        del dialect
        return None if value is None else moment_number(value)

    def process_result_value(self, value: int | None, dialect: Dialect) -> datetime | None:
        """Return the time, with its time zone."""
        del dialect
        try:
            return None if value is None else _EPOCH + value * _TICK
        except (TypeError, OverflowError):
            return cast("datetime", DAMAGED)


class Json(sa.types.TypeDecorator[Any]):
    """JSON as text: the same in every database, including NUL characters and the order of keys."""

    impl = sa.Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str:
        """Return what is kept."""
        del dialect
        return json_text(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        """Return what was given."""
        del dialect
        try:
            return None if value is None else json.loads(value)
        except (TypeError, ValueError):
            return DAMAGED


tables = sa.MetaData(naming_convention={"ix": "ix_%(table_name)s_%(column_0_N_name)s"})

job = sa.Table(
    "job",
    tables,
    sa.Column("id", sa.Text, primary_key=True),
    sa.Column("revision", sa.Integer, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
    sa.Column("versions", sa.Integer, nullable=False),
    sa.Column("shelf", sa.Text, nullable=False),
    sa.Column("created", Moment, nullable=False),
    sa.Column("changed", Moment, nullable=False),
    sa.Column("deleted", Moment),
    sa.Column("words", sa.Text, nullable=False, server_default=""),
    sa.Column("deleted_age", sa.BigInteger),
    sa.Column("digest", sa.Text, nullable=False, server_default=""),
    sa.Index(None, "shelf", "changed"),
)

job_version = sa.Table(
    "job_version",
    tables,
    sa.Column("job", sa.ForeignKey("job.id", ondelete="CASCADE"), primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("title", sa.Text, nullable=False),
    sa.Column("text", sa.Text, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.Column("digest", sa.Text, nullable=False, server_default=""),
)

run_entry = sa.Table(
    "run_entry",
    tables,
    sa.Column("job", sa.ForeignKey("job.id", ondelete="CASCADE"), primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("step", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("text", sa.Text, nullable=False),
    sa.Column("value", Json, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.Column("key", sa.Text, nullable=False, server_default=""),
    sa.Column("digest", sa.Text, nullable=False, server_default=""),
)

step_note = sa.Table(
    "step_note",
    tables,
    sa.Column("id", sa.Text, primary_key=True),
    sa.Column("job", sa.ForeignKey("job.id", ondelete="CASCADE"), nullable=False),
    sa.Column("step", sa.Text, nullable=False),
    sa.Column("text", sa.Text, nullable=False),
    sa.Column("media_type", sa.Text, nullable=False),
    sa.Column("size", sa.BigInteger, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.Column("key", sa.Text, nullable=False),
    sa.Column("digest", sa.Text, nullable=False, server_default=""),
    sa.Index(None, "job", "at"),
)

step_photo = sa.Table(
    "step_photo",
    tables,
    sa.Column("note", sa.ForeignKey("step_note.id", ondelete="CASCADE"), primary_key=True),
    sa.Column("content", sa.LargeBinary, nullable=False),
    sa.Column("digest", sa.Text, nullable=False, server_default=""),
)

recording = sa.Table(
    "recording",
    tables,
    sa.Column("id", sa.Text, primary_key=True),
    sa.Column("job", sa.ForeignKey("job.id", ondelete="CASCADE"), nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("size", sa.BigInteger, nullable=False),
    sa.Column("measured", Json, nullable=False),
    sa.Column("at", Moment, nullable=False),
    sa.Column("digest", sa.Text, nullable=False, server_default=""),
    sa.Index(None, "job", "at"),
)

recording_content = sa.Table(
    "recording_content",
    tables,
    sa.Column("recording", sa.ForeignKey("recording.id", ondelete="CASCADE"), primary_key=True),
    sa.Column("content", sa.LargeBinary, nullable=False),
    sa.Column("digest", sa.Text, nullable=False, server_default=""),
)

kept_case = sa.Table(
    "kept_case",
    tables,
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("revision", sa.Integer, nullable=False),
    sa.Column("content", Json, nullable=False),
    sa.Column("changed", Moment, nullable=False),
    sa.Column("words", sa.Text, nullable=False, server_default=""),
    sa.Column("closed_as", sa.Text),
    sa.Column("digest", sa.Text, nullable=False, server_default=""),
    sa.Index(None, "closed_as"),
)

device = sa.Table(
    "device",
    tables,
    sa.Column("id", sa.Text, primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("token_digest", sa.Text, nullable=False, unique=True),
    sa.Column("paired", Moment, nullable=False),
    sa.Column("seen", Moment, nullable=False),
    sa.Column("put_out", sa.Boolean, nullable=False),
    sa.Column("digest", sa.Text, nullable=False, server_default=""),
)

document = sa.Table(
    "document",
    tables,
    sa.Column("kind", sa.Text, primary_key=True),
    sa.Column("key", sa.Text, primary_key=True),
    sa.Column("content", Json, nullable=False),
    sa.Column("changed", Moment, nullable=False),
    sa.Column("revision", sa.Integer, nullable=False, server_default="1"),
    sa.Column("digest", sa.Text, nullable=False, server_default=""),
)


store_time = sa.Table(
    "store_time",
    tables,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("seconds", sa.BigInteger, nullable=False),
    sa.Column("latest", Moment, nullable=False),
    sa.Column("digest", sa.Text, nullable=False, server_default=""),
)
"""One row: how long the store has provably existed, and the latest time at which that was noted."""


def now() -> datetime:
    """Return the present time."""
    return datetime.now(UTC)


def searched(*texts: str) -> str:
    """Return texts in the form used for searching: case-folded and normalised (NFKC)."""
    return "\n".join(unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold()) for text in texts)


def holds(column: sa.ColumnElement[str], words: str) -> list[sa.ColumnElement[bool]]:
    """Return the conditions that a column of searchable text contains all of the words."""
    return [TextPosition(column, word) > 0 for word in searched(words).split()]


class TextPosition(FunctionElement[int]):
    """The position of a text in another, from 1; 0 if it isn't there. There are no wildcards."""

    type = sa.Integer()
    inherit_cache = True
    name = "place"


@compiles(TextPosition, "sqlite")
def _in_sqlite(element: TextPosition, compiler: SQLCompiler, **options: Any) -> str:
    return f"instr({compiler.process(element.clauses, **options)})"


@compiles(TextPosition, "postgresql")
def _in_postgresql(element: TextPosition, compiler: SQLCompiler, **options: Any) -> str:
    return f"strpos({compiler.process(element.clauses, **options)})"


def writable(**texts: str) -> None:
    """Refuse texts that not every database can store.

    Raises
    ------
    CallError : a text contains NUL or a lone surrogate.
    """
    for name, text in texts.items():
        if "\x00" in text or any("\ud800" <= character <= "\udfff" for character in text):
            raise CallError(
                say("it contains characters that can't be stored"),
                code="not_text",
                where=name,
                remedy=say("type it anew"),
            )
