"""The state of a step from its entries, and how far a whole run has come: from the entries alone, without a plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from gainwright.app.store import RunEntry

State = Literal["open", "begun", "done", "skipped"]
Rows = tuple[tuple[float, float | None], ...]


@dataclass(frozen=True, slots=True)
class Progress:
    """Steps that are done or skipped, and when the last entry was made."""

    steps: int
    last: datetime


def state_of(history: Sequence[RunEntry]) -> tuple[State, RunEntry | None, Rows]:
    """Return a step's state after its entries, the entry that is valid, and its column of readings by volume step."""
    rows: dict[float, float | None] = {}
    state: State = "open"
    holds: RunEntry | None = None
    for entry in history:
        row = entry.value.get("row")
        if entry.kind == "reading" and row is not None:
            rows.pop(float(row[0]), None)
            rows[float(row[0])] = None if row[1] is None else float(row[1])
            state, holds = "begun", entry
        elif entry.kind == "taken_back" and state == "begun" and rows:
            del rows[next(reversed(rows))]
            state, holds = ("begun", entry) if rows else ("open", None)
        elif entry.kind == "taken_back":
            state, holds = ("begun", entry) if rows else ("open", None)
        else:
            state, holds = "skipped" if entry.kind == "skipped" else "done", entry
    return state, holds, tuple(sorted(rows.items()))


def progress_of(entries: Sequence[RunEntry]) -> Progress | None:
    """Return the progress of a run; None before its first entry. A column of readings counts once its last clean step is entered."""
    if not entries:
        return None
    by_step: dict[str, list[RunEntry]] = {}
    for entry in entries:
        by_step.setdefault(entry.step, []).append(entry)
    ended = sum(state_of(history)[0] in ("done", "skipped") for history in by_step.values())
    return Progress(ended, entries[-1].at)
