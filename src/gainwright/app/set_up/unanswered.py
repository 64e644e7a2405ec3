"""Entries that were typed and not taken: they stay, with their question, until the device that sent them has answered it."""

from __future__ import annotations

import contextlib
import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from gainwright.app.store import ConflictError
from gainwright.errors import DoubtfulReadingError

if TYPE_CHECKING:
    from gainwright.app.store import RunKind, Store
    from gainwright.errors import GainwrightError


@dataclass(frozen=True, slots=True)
class Unanswered:
    """An entry that waits for an answer.

    Attributes
    ----------
    why : another device has entered something since (`conflict`), or a decimal point seems to be lost (`asked`).
    candidate : what was probably meant, of a lost point.
    """

    id: str
    step: str
    kind: RunKind
    text: str
    by: str
    why: Literal["conflict", "asked"]
    candidate: str = ""


def keep_unanswered(
    store: Store,
    job: str,
    error: GainwrightError,
    *,
    step: str,
    kind: RunKind,
    text: str,
    by: str,
) -> None:
    """Keep an entry that was refused with a question; after any other error it isn't kept."""
    if not isinstance(error, (ConflictError, DoubtfulReadingError)):
        return
    content = {"step": step, "kind": kind, "text": text.strip(), "by": by}
    if isinstance(error, DoubtfulReadingError):
        content |= {"why": "asked", "candidate": error.candidate}
    else:
        content |= {"why": "conflict"}
    name = hashlib.sha256("\n".join((step, kind, by, text.strip())).encode()).hexdigest()[:16]
    store.documents.put(_kind(job), name, content)


def unanswered(store: Store, job: str, *, by: str) -> list[Unanswered]:
    """Return the entries of a device that wait for an answer, in the order in which they were sent."""
    found = [Unanswered(name, **content) for name, content in store.documents.list(_kind(job))]
    return [entry for entry in reversed(found) if entry.by == by]


def answered(store: Store, job: str, *, by: str, step: str, entry: str = "") -> None:
    """Forget one entry of a device, or all that it has sent for a step when none is named; one that it sends again meanwhile stays."""
    for found in store.documents.all(_kind(job)):
        waiting = Unanswered(found.key, **found.content)
        if waiting.by == by and waiting.step == step and entry in ("", waiting.id):
            with contextlib.suppress(ConflictError):
                store.documents.remove(_kind(job), waiting.id, seen=found.revision)


def _kind(job: str) -> str:
    return f"unanswered {job}"
