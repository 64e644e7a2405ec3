"""Dialogues and diagnoses at hand: what diagnoses a chain is made once, what it told is kept until something is said anew."""

from __future__ import annotations

import json
import logging
import threading
import time
from typing import TYPE_CHECKING

from gainwright.app.cases import kept as casebook
from gainwright.app.cases.dialogue import Dialogue
from gainwright.errors import GainwrightError
from gainwright.model import Case

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Any

    from gainwright.app.store import Store
    from gainwright.diagnose import Diagnosis
    from gainwright.report import CaseCounts
    from gainwright.web.models import Models
    from gainwright.web.site import Site

log = logging.getLogger("gainwright.web")

FRESH_S = 60.0
"""So long the count of closed cases is taken as it is; then it is counted again, beside."""


class ClosedCounts:
    """How many of the shop's cases were closed with each cause; counting never keeps a page waiting but the first."""

    def __init__(self) -> None:
        self._counts: dict[str, int] | None = None
        self._at = 0.0
        self._counting = threading.Lock()

    def of(self, store: Store) -> dict[str, int]:
        """Return the counts."""
        if self._counts is None:
            self._count(store)
        elif time.monotonic() - self._at > FRESH_S and not self._counting.locked():
            beside(lambda: self._count(store))
        return dict(self._counts or {})

    def forget(self) -> None:
        """Count anew when it is asked for: a case was closed or opened again."""
        self._counts = None

    def _count(self, store: Store) -> None:
        with self._counting:
            self._counts = casebook.closed_causes(store)
            self._at = time.monotonic()


def dialogue_of(site: Site, case: Case) -> Dialogue:
    """Return the dialogue of a case with its diagnoser. JobError: its job can't be read."""
    closed = site.closed.of(site.store)
    return Dialogue.of(case, closed_counts=closed, diagnoser=site.models.diagnoser(case.job, closed))


def told(models: Models, dialogue: Dialogue) -> Diagnosis:
    """Return what is believed now, and the next tests. JobError: an entry can't be meant."""
    said = (dialogue.entries, dialogue.declined, dialogue.unreachable)
    known = json.dumps([*said, sorted((dialogue.closed_counts or {}).items()), dialogue.job_text])
    return models.kept("diagnosis", known, dialogue.diagnosis)


def told_of(site: Site, text: str, entries: list[dict[str, Any]], unreachable: Sequence[str] = ()) -> Diagnosis:
    """Return the diagnosis of a job's text and some evidence, outside of any case. JobError: one of them can't be read."""
    return told(site.models, dialogue_of(site, Case(job=text, evidence=tuple(entries), unreachable=tuple(unreachable))))


def concerns(site: Site) -> CaseCounts:
    """Return what the shop's cases add up to, counted anew when one was changed since."""
    found = site.store.cases.find()
    newest = f"{len(found)} {found[0].changed.isoformat() if found else ''}"
    return site.models.kept("concerns", newest, lambda: casebook.concerns(found))


def warm(site: Site, text: str) -> None:
    """Make what diagnoses a job beside, and its first diagnosis: the first question is there when it is wanted."""
    beside(lambda: told_of(site, text, []))


def beside(do: Callable[[], object]) -> None:
    """Do something in a thread of its own; if it can't be done, it is told when it is done in earnest."""

    def quietly() -> None:
        try:
            do()
        except GainwrightError:
            pass
        except Exception:
            log.exception("beside")

    threading.Thread(target=quietly, daemon=True).start()
