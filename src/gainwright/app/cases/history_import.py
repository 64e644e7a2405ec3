"""Import of a shop's history into the store: all of a table, or nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.app.cases.history import HistoryError, HistoryRow, WrongLine, read_history
from gainwright.app.cases.stored_cases import RESERVED
from gainwright.app.store import found_or_none
from gainwright.errors import GainwrightError
from gainwright.texts import say

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
            wrong.append(WrongLine.of(row.line, error))
    if wrong:
        raise HistoryError.of(wrong)
    cases.add_all(added)
    return ImportedHistory(tuple(added), tuple(same))


def _is_there(row: HistoryRow, cases: Cases) -> bool:
    """Return whether the case of a row is in the store. CallError: its name is invalid, or that of another case."""
    if row.name in RESERVED:
        raise HistoryError(say("a case can't be called {name}", name=row.name), code="bad_name")
    kept = found_or_none(cases.get, row.name)
    if kept is None:
        return False
    if _ended(kept.case) != _ended(row.case):
        raise HistoryError(say("the store has another case called {name}", name=row.name), code="name_taken")
    return True


def _ended(case: Case) -> object:
    return None if case.closed is None else (case.closed.outcome, case.closed.faults, case.closed.named)
