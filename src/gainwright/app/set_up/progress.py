"""The state of a step from its entries, and how far a whole run has come: from the entries alone, without a plan."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from gainwright.app.store import RunEntry

State = Literal["open", "begun", "done", "skipped"]
Rows = tuple[tuple[float, float | None], ...]
"""Of a column of readings: the step of the volume and the volts there, in order of the steps; None over the range."""


@dataclass(frozen=True, slots=True)
class RunProgress:
    """Steps that are done or skipped, and when the last entry was made."""

    steps: int
    last: datetime


@dataclass(frozen=True, slots=True)
class Column:
    """A column of readings by volume step, and a second one with a lower tone, `lower_db` dB below (0 while there is none)."""

    rows: Rows = ()
    lower: Rows = ()
    lower_db: float = 0.0

    @property
    def next_lower(self) -> float | None:
        """The step that follows in the column with the tone lower; None while there is none, and at the end of the other."""
        highest = self.lower[-1][0] if self.lower else math.inf
        return next((step for step, _ in self.rows if step > highest), None)


NO_COLUMN = Column()


def state_of(history: Sequence[RunEntry]) -> tuple[State, RunEntry | None, Column]:
    """Return a step's state after its entries, the entry that is valid, and its column of readings."""
    rows: dict[tuple[float, float], float | None] = {}
    state: State = "open"
    holds: RunEntry | None = None
    for entry in history:
        row = entry.value.get("row")
        if entry.kind == "reading" and row is not None:
            at = float(entry.value.get("lower_db") or 0.0), float(row[0])
            rows.pop(at, None)
            rows[at] = None if row[1] is None else float(row[1])
            state, holds = "begun", entry
        elif entry.kind == "taken_back" and state == "begun" and rows:
            del rows[next(reversed(rows))]
            state, holds = ("begun", entry) if rows else ("open", None)
        elif entry.kind == "taken_back":
            state, holds = ("begun", entry) if rows else ("open", None)
        else:
            state, holds = "skipped" if entry.kind == "skipped" else "done", entry
    return state, holds, _column(rows)


def _column(rows: dict[tuple[float, float], float | None]) -> Column:
    by_level = {db: tuple(sorted((s, v) for (d, s), v in rows.items() if d == db)) for db, _ in rows}
    lower_db = max(by_level, default=0.0)
    return Column(by_level.get(0.0, ()), by_level[lower_db] if lower_db else (), lower_db)


def progress_of(entries: Sequence[RunEntry]) -> RunProgress | None:
    """Return the progress of a run; None before its first entry. A column of readings counts once its last clean step is entered."""
    if not entries:
        return None
    by_step: dict[str, list[RunEntry]] = {}
    for entry in entries:
        by_step.setdefault(entry.step, []).append(entry)
    ended = sum(state_of(history)[0] in ("done", "skipped") for history in by_step.values())
    return RunProgress(ended, entries[-1].at)
