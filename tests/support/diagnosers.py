"""Diagnosers that tests share: what they answer depends on job and evidence alone (tests/property/test_diagnosis_depends_on_evidence_alone.py)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.diagnose import Diagnoser

if TYPE_CHECKING:
    from gainwright.model import Job

MOST = 4
"""Diagnosers that are kept, with all that they have solved: tens of megabytes each."""
_kept: dict[str, Diagnoser] = {}


def kept_diagnoser(job: Job) -> Diagnoser:
    """Return the diagnoser of an equal job that was made before, or a new one."""
    says = repr(job)
    found = _kept.pop(says, None) or Diagnoser(job)
    while len(_kept) >= MOST:
        del _kept[next(iter(_kept))]  # the one that wasn't asked for the longest
    _kept[says] = found
    return found
