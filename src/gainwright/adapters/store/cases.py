"""Cases in a database, identified by name, searchable by any word."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, overload

import sqlalchemy as sa

from gainwright.adapters.case_folder import check_case_name
from gainwright.adapters.store.digests import damaged, digest_of, is_whole, sealed, verified
from gainwright.adapters.store.tables import holds, kept_case, now, searched, writable
from gainwright.app.store import ConflictError, StoredCase
from gainwright.diagnose import SOMETHING_ELSE, TWO_FAULTS, ClosedCases, ClosedCount
from gainwright.errors import CallError
from gainwright.model.case import Case, Closure
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from gainwright.adapters.store.database import Database
    from gainwright.adapters.store.tables import AnyRow


_SHOWN = [column for column in kept_case.c if column is not kept_case.c.words]


class SqlCases:
    """Cases in a database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def find(self, words: str = "") -> Sequence[StoredCase]:
        """Return the cases that contain all of the words, last changed first."""
        writable(words=words)
        table = kept_case.c
        content = sa.type_coerce(table.content, sa.Text).label("content")
        others = [column for column in _SHOWN if column is not table.content]
        wanted = sa.select(*others, content).where(*holds(table.words, words))
        with self._database.read() as connection:
            return FoundCases(connection.execute(wanted.order_by(table.changed.desc(), table.name)).all())

    def get(self, name: str) -> StoredCase:
        """Return a case. CallError `no_such_case`."""
        check_case_name(name)
        with self._database.read() as connection:
            row = _row(connection, name)
        if row is None:
            raise CallError(say("there is no case {name}", name=name), code="no_such_case")
        return _kept(row)

    def counted(self) -> ClosedCases:
        """Return the closed cases, counted by cause, complaint and kind of chain; those with two faults as such, too."""
        column = kept_case.c.closed_as
        wanted = sa.select(column, sa.func.count()).where(column.is_not(None)).group_by(column)
        found = Counter[tuple[str, str, str]]()
        with self._database.read() as connection:
            for sort, cases in connection.execute(wanted):
                *causes, complaint, chain = _sort_of(sort)
                for cause in [*causes, *([TWO_FAULTS] if len(causes) > 1 else [])]:
                    found[cause, complaint, chain] += int(cases)
        rows = (ClosedCount(cause, n, complaint, chain) for (cause, complaint, chain), n in sorted(found.items()))
        return ClosedCases(tuple(rows))

    def add_all(self, cases: Mapping[str, Case]) -> None:
        """Add new cases by name, all or none. ConflictError: one of the names is in use."""
        at = now()
        rows = [_new_row(name, case, at, revision=1) for name, case in cases.items()]
        if not rows:
            return
        with self._database.write() as connection:
            try:
                connection.execute(kept_case.insert(), rows)
            except sa.exc.IntegrityError:
                raise ConflictError(
                    say("one of these names is in use"), code="conflict", remedy=say("try again; nothing was written")
                ) from None

    def write(self, name: str, case: Case, *, seen: int) -> StoredCase:
        """Store a case; `seen` is 0 for a new one. ConflictError: its revision isn't `seen`."""
        row = _new_row(name, case, at := now(), revision=seen + 1)
        with self._database.write() as connection:
            found = _row(connection, name, lock=True)
            if seen != (found.revision if found is not None else 0):
                raise _changed_meanwhile(name)
            if found is not None:
                connection.execute(kept_case.update().where(kept_case.c.name == name).values(**row))
                return StoredCase(name, case, seen + 1, at)
            try:
                connection.execute(kept_case.insert().values(**row))
            except sa.exc.IntegrityError:  # inserted by somebody else in the meantime
                raise _changed_meanwhile(name) from None
        return StoredCase(name, case, 1, at)


class FoundCases(Sequence[StoredCase]):
    """A snapshot of cases; each is parsed when it is accessed, since a list shows only some of many."""

    def __init__(self, rows: Sequence[AnyRow]) -> None:
        self._rows = rows

    def __len__(self) -> int:
        return len(self._rows)

    @overload
    def __getitem__(self, at: int) -> StoredCase: ...

    @overload
    def __getitem__(self, at: slice) -> list[StoredCase]: ...

    def __getitem__(self, at: int | slice) -> StoredCase | list[StoredCase]:
        if isinstance(at, slice):
            return [self._read(row) for row in self._rows[at]]
        return self._read(self._rows[at])

    def _read(self, row: AnyRow) -> StoredCase:
        if not is_whole(kept_case, row, raw=("content",)):
            raise damaged(_case_words(row.name))
        return StoredCase(row.name, Case.model_validate_json(row.content), row.revision, row.changed)


def _new_row(name: str, case: Case, at: datetime, *, revision: int) -> dict[str, Any]:
    """Return what is stored of a case. CallError: an invalid name, or characters that can't be stored."""
    check_case_name(name)
    content = case.model_dump(mode="json", exclude_defaults=True, by_alias=True)
    words = words_of(name, content)
    writable(case=words + json.dumps(content, ensure_ascii=False))
    row = {"name": name, "revision": revision, "content": content, "changed": at}
    return {**sealed(kept_case, {**row, "closed_as": _closed_as(case.closed)}), "words": words}


def _closed_as(closed: Closure | None) -> str | None:
    """Return the sort of a closed case: a list of each cause, the complaint and the kind of chain, as JSON, and its checksum.

    What was none of the causes is counted as `something_else`, an unsolved case as nothing. The checksum is one of its own,
    since sorts are counted from an index, without their rows.
    """
    if closed is None:
        return None
    causes = dict.fromkeys(cause for cause, _ in closed.faults)
    if closed.outcome == SOMETHING_ELSE:
        causes[SOMETHING_ELSE] = None
    sort = json.dumps([*causes, closed.complaint, closed.chain])
    return f"{sort}|{digest_of([sort])}"


def _sort_of(closed_as: str) -> list[str]:
    """Return the list of `_closed_as`. CallError: it isn't as it was stored."""
    sort, _, digest = closed_as.rpartition("|")
    if digest_of([sort]) != digest:
        raise damaged(say("the index of closed cases"))
    found: list[str] = json.loads(sort)
    return found


def words_of(name: str, content: Mapping[str, Any]) -> str:
    """Return the searchable words of a case."""
    return searched(name, *texts_in(content))


def texts_in(content: Any) -> list[str]:
    """Return every text of a case that a search may find."""
    if isinstance(content, dict):
        return [text for value in content.values() for text in texts_in(value)]
    if isinstance(content, list):
        return [text for value in content for text in texts_in(value)]
    return [content] if isinstance(content, str) else [] if content is None else [json.dumps(content)]


def _row(connection: sa.Connection, name: str, *, lock: bool = False) -> AnyRow | None:
    table = kept_case.c
    wanted = sa.select(*_SHOWN).where(table.name == name)
    row = connection.execute(wanted.with_for_update() if lock else wanted).one_or_none()
    return None if row is None else verified(kept_case, row, _case_words(name))


def _case_words(name: str) -> str:
    return say("the case {name}", name=name)


def _kept(row: AnyRow) -> StoredCase:
    return StoredCase(row.name, Case.model_validate(row.content), row.revision, row.changed)


def _changed_meanwhile(name: str) -> ConflictError:
    return ConflictError(
        say("the case {name} was changed by somebody else meanwhile", name=name),
        code="conflict",
        remedy=say("look at the present case, then make your change again; nothing was written"),
    )
