"""Cases in a database, by name, found by any word."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, overload

import sqlalchemy as sa

from gainwright.adapters.case_folder import check_case_name
from gainwright.adapters.store.tables import holds, kept_case, now, searched, writable
from gainwright.app.store import ConflictError, KeptCase
from gainwright.errors import CallError
from gainwright.model import Case

if TYPE_CHECKING:
    from gainwright.adapters.store.database import Database
    from gainwright.adapters.store.tables import AnyRow


class SqlCases:
    """Cases in a database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    @property
    def plain(self) -> SqlPlainCases:
        """The store by names."""
        return SqlPlainCases(self, self._database)

    def find(self, words: str = "") -> Sequence[KeptCase]:
        """Return the cases that hold every one of the words anywhere, last changed first."""
        writable(words=words)
        table = kept_case.c
        content = sa.type_coerce(table.content, sa.Text).label("content")
        wanted = sa.select(table.name, table.revision, content, table.changed).where(*holds(table.words, words))
        with self._database.read() as connection:
            return FoundCases(connection.execute(wanted.order_by(table.changed.desc(), table.name)).all())

    def get(self, name: str) -> KeptCase:
        """Return one. CallError `no_such_case`."""
        check_case_name(name)
        with self._database.read() as connection:
            row = _row(connection, name)
        if row is None:
            raise CallError(f"there is no case {name}", code="no_such_case", where=self._database.name)
        return _kept(row)

    def write(self, name: str, case: Case, *, seen: int) -> KeptCase:
        """Keep a case; `seen` is 0 for a new one. ConflictError: its revision isn't the one seen."""
        return self.keep(name, case, seen=seen)

    def keep(self, name: str, case: Case, *, seen: int | None) -> KeptCase:
        """Keep a case as `write` does; with nothing seen, in place of what there is."""
        check_case_name(name)
        content = case.model_dump(mode="json", exclude_defaults=True, by_alias=True)
        words = searched(name, *texts_in(content))
        writable(case=words + json.dumps(content, ensure_ascii=False))
        at = now()
        row = {"content": content, "changed": at, "words": words}
        with self._database.write() as connection:
            found = _row(connection, name, lock=True)
            revision = found.revision if found is not None else 0
            if seen is not None and revision != seen:
                raise _conflict(name)
            if found is not None:
                connection.execute(
                    kept_case.update().where(kept_case.c.name == name).values(**row, revision=revision + 1)
                )
                return KeptCase(name, case, revision + 1, at)
            try:
                connection.execute(kept_case.insert().values(name=name, revision=1, **row))
            except sa.exc.IntegrityError:  # somebody else's insert, unseen until it was through
                raise _conflict(name) from None
        return KeptCase(name, case, 1, at)


class FoundCases(Sequence[KeptCase]):
    """Cases as they were at one moment; each is read when it is looked at, since a list shows some of many."""

    def __init__(self, rows: Sequence[AnyRow]) -> None:
        self._rows = rows

    def __len__(self) -> int:
        return len(self._rows)

    @overload
    def __getitem__(self, at: int) -> KeptCase: ...

    @overload
    def __getitem__(self, at: slice) -> list[KeptCase]: ...

    def __getitem__(self, at: int | slice) -> KeptCase | list[KeptCase]:
        if isinstance(at, slice):
            return [self._read(row) for row in self._rows[at]]
        return self._read(self._rows[at])

    def _read(self, row: AnyRow) -> KeptCase:
        return KeptCase(row.name, Case.model_validate_json(row.content), row.revision, row.changed)


class SqlPlainCases:
    """The same cases as the dialogue and the command line know them."""

    def __init__(self, cases: SqlCases, database: Database) -> None:
        self._cases = cases
        self._database = database

    def names(self) -> list[str]:
        """Return the names of all cases, sorted."""
        with self._database.read() as connection:
            return sorted(connection.scalars(sa.select(kept_case.c.name)))

    def load(self, name: str) -> Case:
        """Return a case. CallError: there is none of that name; JobError: it can't be read."""
        return self._cases.get(name).case

    def save(self, name: str, case: Case) -> str:
        """Keep a case whole or not at all; return where."""
        try:
            self._cases.keep(name, case, seen=None)
        except ConflictError:  # somebody else was first with a new one; now it is there to be replaced
            self._cases.keep(name, case, seen=None)
        return f"{name} in {self._database.name}"


def texts_in(content: Any) -> list[str]:
    """Return every text of a case: what a person may look for."""
    if isinstance(content, dict):
        return [text for value in content.values() for text in texts_in(value)]
    if isinstance(content, list):
        return [text for value in content for text in texts_in(value)]
    return [content] if isinstance(content, str) else [] if content is None else [json.dumps(content)]


def _row(connection: sa.Connection, name: str, *, lock: bool = False) -> AnyRow | None:
    table = kept_case.c
    wanted = sa.select(table.name, table.revision, table.content, table.changed).where(table.name == name)
    return connection.execute(wanted.with_for_update() if lock else wanted).one_or_none()


def _kept(row: AnyRow) -> KeptCase:
    return KeptCase(row.name, Case.model_validate(row.content), row.revision, row.changed)


def _conflict(name: str) -> ConflictError:
    return ConflictError(
        f"the case {name} was changed by somebody else meanwhile",
        code="conflict",
        remedy="look at the case as it stands now, then make your change again; nothing was written",
    )
