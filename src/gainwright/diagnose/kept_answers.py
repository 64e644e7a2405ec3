"""Answers that are kept to be used again, up to so many bytes: those of a large chain would take a gigabyte."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gainwright.diagnose.unit_answers import Answers

MOST_BYTES = 64_000_000


class KeptAnswers:
    """Answers by what was asked; when they are too large together, the oldest are dropped and worked out again when asked for."""

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._most_bytes = most_bytes
        self._found: dict[tuple[object, ...], Answers] = {}
        self.bytes = 0

    def get(self, key: tuple[object, ...]) -> Answers | None:
        """Return what is kept, or None."""
        return self._found.get(key)

    def keep(self, key: tuple[object, ...], answers: Answers) -> None:
        """Keep answers, and drop the oldest as long as there are too many."""
        self._drop(key)
        self._found[key] = answers
        self.bytes += answers.chance.nbytes
        while self.bytes > self._most_bytes and len(self._found) > 1:
            self._drop(next(iter(self._found)))

    def _drop(self, key: tuple[object, ...]) -> None:
        found = self._found.pop(key, None)
        if found is not None:
            self.bytes -= found.chance.nbytes
