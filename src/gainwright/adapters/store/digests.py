"""A checksum beside each row: written with it, and verified whenever it is read.

The database verifies its own structure; a changed bit in a stored text it would return as if it had been written.
"""

from __future__ import annotations

import functools
import hashlib
from typing import TYPE_CHECKING, Any

from gainwright.adapters.store.tables import DAMAGED, Json, Moment, json_text, moment_number
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import sqlalchemy as sa

    from gainwright.adapters.store.tables import AnyRow

DIGEST_BYTES = 8
NOT_SEALED = ("digest", "words")
"""The checksum itself, and the searchable words, which follow from what is sealed (`check` compares them)."""


def digest_of(values: list[Any]) -> str:
    """Return the checksum of the values of a row as the database holds them: numbers, texts and bytes."""
    sum_ = hashlib.blake2b(digest_size=DIGEST_BYTES)
    for value in values:
        kind, content = _plain(value)
        sum_.update(b"%s%d:" % (kind, len(content)))
        sum_.update(content)
    return sum_.hexdigest()


def _plain(value: Any) -> tuple[bytes, bytes]:
    if value is None:
        return b"n", b""
    if isinstance(value, bool | int):
        return b"i", str(int(value)).encode()
    if isinstance(value, str):
        return b"s", value.encode("utf-8", "surrogatepass")
    return b"b", bytes(value)


def sealed(table: sa.Table, values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of a whole row together with their checksum."""
    return {**values, "digest": _digest(table, values.__getitem__)}


def is_whole(table: sa.Table, row: AnyRow, *, prefix: str = "", raw: tuple[str, ...] = ()) -> bool:
    """Return whether a row that was read is as it was written.

    Parameters
    ----------
    row : has every column of the table but the searchable words.
    prefix : before the names of the columns in the row.
    raw : names of JSON columns that were read as text.
    """
    found = row._mapping
    try:
        return bool(found[prefix + "digest"] == _digest(table, lambda name: found[prefix + name], raw))
    except (TypeError, ValueError, AttributeError):
        return False


def verified(table: sa.Table, row: AnyRow, what: str) -> AnyRow:
    """Return a row that is as it was written. CallError `store_damaged`, naming `what`: it isn't."""
    if not is_whole(table, row):
        raise damaged(what)
    return row


def damaged(what: str) -> CallError:
    """Return the error for something that isn't as it was written."""
    return CallError(
        say("{what} is damaged: it isn't as it was stored", what=what),
        code="store_damaged",
        remedy=say("run gainwright store check, which says what a backup has of it; then restore the backup"),
    )


def _digest(table: sa.Table, value_of: Callable[[str], Any], raw: tuple[str, ...] = ()) -> str:
    return digest_of([_bound(kind, value_of(name), name in raw) for name, kind in _sealed_columns(table)])


@functools.cache
def _sealed_columns(table: sa.Table) -> tuple[tuple[str, type], ...]:
    """Return name and type of the columns that a checksum is of, in their order."""
    return tuple((column.name, type(column.type)) for column in table.columns if column.name not in NOT_SEALED)


def _bound(kind: type, value: Any, raw: bool) -> Any:
    if value is DAMAGED:
        raise ValueError
    if value is None or raw:
        return value
    if kind is Moment:
        return moment_number(value)
    return json_text(value) if kind is Json else value
