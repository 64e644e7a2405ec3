"""Import of a shop's history into the store: all of a table, or nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.app.cases.history import HistoryError, HistoryRow, WrongLine, read_history
from gainwright.app.cases.stored_cases import RESERVED
from gainwright.errors import GainwrightError
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.app.store import Cases
    from gainwright.model.case import Case


@dataclass(frozen=True, slots=True)
class ImportedHistory:
    """The result of an import.

    Attributes
    ----------
    added : names of the cases that were stored.
    same : names of those that were there already, closed in the same way.
    """

    added: tuple[str, ...]
    same: tuple[str, ...]


def import_history(cases: Cases, content: bytes) -> ImportedHistory:
    """Import a table of closed cases; a row without a name that was imported before isn't imported again.

    Raises
    ------
    HistoryError : with every line that is wrong, or whose name another case has; nothing was stored.
    """
    rows = read_history(content)
    wrong, added, same = [], {}, []
    for row in rows:
        try:
            if _is_there(row, cases):
                same.append(row.name)
            else:
                added[row.name] = row.case
        except GainwrightError as error:
            wrong.append(
                WrongLine(row.line, joined([part for part in (error.what, error.rule) if part], by="{a}; {b}"))
            )
    if wrong:
        raise HistoryError.of(wrong)
    cases.add_all(added)
    return ImportedHistory(tuple(added), tuple(same))


def _is_there(row: HistoryRow, cases: Cases) -> bool:
    """Return whether the case of a row is in the store. CallError: its name is invalid, or that of another case."""
    if row.name in RESERVED:
        raise HistoryError(say("a case can't be called {name}", name=row.name), code="bad_name")
    try:
        kept = cases.get(row.name).case
    except GainwrightError as error:
        if error.code == "no_such_case":
            return False
        raise
    if _ended(kept) != _ended(row.case):
        raise HistoryError(say("the store has another case called {name}", name=row.name), code="name_taken")
    return True


def _ended(case: Case) -> object:
    return None if case.closed is None else (case.closed.outcome, case.closed.faults, case.closed.named)
