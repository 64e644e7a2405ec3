"""Other documents, stored as JSON by kind and key."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from gainwright.adapters.store.digests import sealed, verified
from gainwright.adapters.store.tables import document, now, writable
from gainwright.app.store import ConflictError, StoredDocument
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.adapters.store.database import Database
    from gainwright.adapters.store.tables import AnyRow

FIRST_REVISIONS = 2**30
"""The first revision of a document is drawn below this: one that was removed and written anew isn't taken for the old one."""


class _AddedMeanwhileError(Exception):
    """Another writer has added the document."""


class SqlDocuments:
    """Documents in a database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def put(self, kind: str, key: str, content: Mapping[str, Any], *, seen: int | None = None) -> int:
        """Add or replace a document; return its revision. ConflictError: its revision isn't `seen`, 0 for none; None writes in any case."""
        writable(kind=kind, key=key)
        try:
            return self._put(kind, key, content, seen)
        except _AddedMeanwhileError:  # a server's other writer has added it meanwhile
            return self._put(kind, key, content, seen)

    def _put(self, kind: str, key: str, content: Mapping[str, Any], seen: int | None) -> int:
        with self._database.write() as connection:
            found = connection.execute(sa.select(document).where(_its(kind, key)).with_for_update()).one_or_none()
            _refuse_unseen(found, seen)
            revision = secrets.randbelow(FIRST_REVISIONS) + 1 if found is None else found.revision + 1
            row = {"kind": kind, "key": key, "content": dict(content), "changed": now(), "revision": revision}
            write = document.insert() if found is None else document.update().where(_its(kind, key))
            try:
                connection.execute(write.values(**sealed(document, row)))
            except sa.exc.IntegrityError:
                raise _AddedMeanwhileError from None
        return revision

    def get(self, kind: str, key: str) -> dict[str, Any] | None:
        """Return a document, None if there is none."""
        found = self.read(kind, key)
        return None if found is None else found.content

    def read(self, kind: str, key: str) -> StoredDocument | None:
        """Return a document with its revision, None if there is none."""
        writable(kind=kind, key=key)
        with self._database.read() as connection:
            row = connection.execute(sa.select(document).where(_its(kind, key))).one_or_none()
        return None if row is None else StoredDocument(row.key, _whole(row).content, row.revision)

    def all(self, kind: str) -> list[StoredDocument]:
        """Return each document of a kind with its revision, last changed first."""
        writable(kind=kind)
        wanted = sa.select(document).where(document.c.kind == kind)
        with self._database.read() as connection:
            rows = connection.execute(wanted.order_by(document.c.changed.desc(), document.c.key)).all()
        return [StoredDocument(row.key, _whole(row).content, row.revision) for row in rows]

    def list(self, kind: str) -> list[tuple[str, dict[str, Any]]]:
        """Return key and content of each document of a kind, last changed first."""
        return [(found.key, found.content) for found in self.all(kind)]

    def remove(self, kind: str, key: str, *, seen: int | None = None) -> None:
        """Remove a document, if it exists. ConflictError: its revision isn't `seen`; None removes it in any case."""
        writable(kind=kind, key=key)
        with self._database.write() as connection:
            if seen is not None:
                wanted = sa.select(document).where(_its(kind, key)).with_for_update()
                _refuse_unseen(connection.execute(wanted).one_or_none(), seen)
            connection.execute(document.delete().where(_its(kind, key)))


def _its(kind: str, key: str) -> sa.ColumnElement[bool]:
    return (document.c.kind == kind) & (document.c.key == key)


def _whole(row: AnyRow) -> AnyRow:
    return verified(document, row, say("the {kind} {key}", kind=row.kind, key=row.key))


def _refuse_unseen(found: AnyRow | None, seen: int | None) -> None:
    if seen is not None and seen != (0 if found is None else found.revision):
        raise ConflictError(
            say("it was changed by somebody else meanwhile"),
            code="conflict",
            remedy=say("look at it as it is now, then make your change again; nothing was written"),
        )
