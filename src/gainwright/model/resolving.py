"""The wiring of a job, resolved once: a rig asks for it at every reading, a diagnosis for every chain that it solves."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

from gainwright.model.wiring import Wiring, resolve_anew

if TYPE_CHECKING:
    from gainwright.model.job import Job

KEPT = 32
"""Jobs whose wiring is kept; the one that was asked for longest ago is dropped first."""


def resolve(job: Job) -> Wiring:
    """Resolve the wiring of a job; the same job, which can't change, gives the same wiring.

    Raises
    ------
    JobError : a reference that leads nowhere or to the wrong thing, a cycle, sides that don't match, an output that
        reaches no speaker, a chain far larger than any car's; `where` is the key's path.
    """
    return _kept(_Same(job))


class _Same:
    """A job as the key of a cache, equal to itself alone: to compare all its numbers takes longer than to resolve it."""

    def __init__(self, job: Job) -> None:
        self.job = job

    def __hash__(self) -> int:
        return id(self.job)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and self.job is other.job


@functools.lru_cache(maxsize=KEPT)
def _kept(key: _Same) -> Wiring:
    return resolve_anew(key.job)
