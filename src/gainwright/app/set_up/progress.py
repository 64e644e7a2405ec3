"""How far a set-up run has come, from its entries alone: a list of jobs needs no plans."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from gainwright.app.store import RunEntry


@dataclass(frozen=True, slots=True)
class Progress:
    """Steps that are done or skipped, and when the last entry was made."""

    steps: int
    last: datetime


def progress_of(entries: Sequence[RunEntry]) -> Progress | None:
    """Return the progress of a run; None before its first entry. A column of readings counts once its last clean step is entered."""
    if not entries:
        return None
    now = {entry.step: entry for entry in entries}
    ended = [e for e in now.values() if e.kind in ("done", "skipped") or (e.kind == "reading" and "row" not in e.value)]
    return Progress(len(ended), entries[-1].at)
