"""The texts of a job's causes, each made once."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from gainwright.diagnose.cause_texts import describe_cause, short_name
from gainwright.model import the_place
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.diagnose.causes import Cause
    from gainwright.model import Job


class CauseText(NamedTuple):
    """A cause in words: short, its place, and what is wrong, a clause and a sentence."""

    name: str
    place: str
    says: str
    sentence: str


class CauseNames:
    """Texts of causes of one job; texts are translated where they are shown, so they serve every language."""

    def __init__(self, job: Job) -> None:
        self._job = job
        self._kept: dict[Cause, CauseText] = {}

    def of(self, cause: Cause) -> CauseText:
        """Return the texts of a cause."""
        found = self._kept.get(cause)
        if found is None:
            place = the_place(self._job, cause.where) if cause.where else ""
            says = describe_cause(cause, self._job)
            found = CauseText(short_name(cause, self._job), place, says, say("{says}.", says=says))
            self._kept[cause] = found
        return found
