"""Each row has a checksum, each other document a revision; the store counts the time that has provably passed."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gainwright.adapters.store.alterations import Alterations

KEYS = {
    "job": ("id",),
    "job_version": ("job", "number"),
    "run_entry": ("job", "number"),
    "step_note": ("id",),
    "step_photo": ("note",),
    "recording": ("id",),
    "recording_content": ("recording",),
    "kept_case": ("name",),
    "device": ("id",),
    "document": ("kind", "key"),
}
SEALED = {
    "job": ("id", "revision", "version", "versions", "shelf", "created", "changed", "deleted", "deleted_age"),
    "job_version": ("job", "number", "title", "text", "by", "at"),
    "run_entry": ("job", "number", "step", "kind", "text", "value", "by", "at", "key"),
    "step_note": ("id", "job", "step", "text", "media_type", "size", "by", "at", "key"),
    "step_photo": ("note", "content"),
    "recording": ("id", "job", "name", "size", "measured", "at"),
    "recording_content": ("recording", "content"),
    "kept_case": ("name", "revision", "content", "changed", "closed_as"),
    "device": ("id", "name", "token_digest", "paired", "seen", "put_out"),
    "document": ("kind", "key", "content", "changed", "revision"),
}
JSON = {"run_entry": "value", "recording": "measured", "kept_case": "content", "document": "content"}


def upgrade(tables: Alterations) -> None:
    """Add the columns, then seal every row that is there."""
    for name in KEYS:
        tables.add_column(name, sa.Column("digest", sa.Text, nullable=False, server_default=""))
    tables.add_column("job", sa.Column("deleted_age", sa.BigInteger))
    tables.add_column("document", sa.Column("revision", sa.Integer, nullable=False, server_default="1"))
    tables.create_table(
        "store_time",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("seconds", sa.BigInteger, nullable=False),
        sa.Column("latest", sa.BigInteger, nullable=False),
    )
    connection = tables.connection
    _seal_sorts(connection)
    connection.execute(sa.text("UPDATE job SET deleted_age = 0 WHERE shelf = 'deleted'"))
    for name in KEYS:
        _seal(connection, name)


def _seal_sorts(connection: sa.Connection) -> None:
    case = sa.table("kept_case", sa.column("closed_as"))
    for sort in connection.scalars(sa.select(case.c.closed_as).where(case.c.closed_as.is_not(None)).distinct()).all():
        sealed = f"{sort}|{digest_of([sort])}"
        connection.execute(case.update().where(case.c.closed_as == sort).values(closed_as=sealed))


def _seal(connection: sa.Connection, name: str) -> None:
    keys, columns = KEYS[name], SEALED[name]
    table = sa.table(name, *(sa.column(column) for column in (*columns, "digest")))
    here = sa.and_(*(table.c[key] == sa.bindparam(f"the_{key}") for key in keys))
    text = JSON.get(name)
    for key in _keys(connection, name):
        found = connection.execute(sa.select(*(table.c[c] for c in columns)).where(here), key).one()._asdict()
        if text is not None:
            found[text] = _canonical(found[text])
        written = {} if text is None or found[text] is None else {text: found[text]}
        digest = digest_of([found[column] for column in columns])
        connection.execute(table.update().where(here).values(digest=digest, **written), key)


def _keys(connection: sa.Connection, name: str) -> Iterator[dict[str, Any]]:
    """Yield the keys of all rows; all are read first, since the rows are changed."""
    found: Sequence[Any] = connection.execute(
        sa.select(*(sa.column(key) for key in KEYS[name])).select_from(sa.table(name))
    ).all()
    yield from ({f"the_{key}": value for key, value in zip(KEYS[name], row, strict=True)} for row in found)


# as it was when this revision was made
def _canonical(value: Any) -> str | None:
    """Return JSON as the program writes it; None for what isn't any, which then isn't sealed as if it could be read."""
    try:
        return json.dumps(json.loads(value), separators=(",", ":"))
    except (TypeError, ValueError):
        return None


def digest_of(values: list[Any]) -> str:
    """Return the checksum of the values of a row."""
    made = hashlib.blake2b(digest_size=8)
    for value in values:
        kind, content = _plain(value)
        made.update(b"%s%d:" % (kind, len(content)))
        made.update(content)
    return made.hexdigest()


def _plain(value: Any) -> tuple[bytes, bytes]:
    if value is None:
        return b"n", b""
    if isinstance(value, bool | int):
        return b"i", str(int(value)).encode()
    if isinstance(value, str):
        return b"s", value.encode("utf-8", "surrogatepass")
    return b"b", bytes(value)
