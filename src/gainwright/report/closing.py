"""How a case ended, in words: for its page and for papers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.diagnose import Cause, describe_cause, repair_text, short_name
from gainwright.model import the_place
from gainwright.texts import joined, say, sentence

if TYPE_CHECKING:
    from gainwright.model import Job
    from gainwright.model.case import Closure

UNSOLVED = say("It was not solved")
OUTCOMES = {
    "found": say("the fault was found"),
    "something_else": say("something else"),
    "two_faults": say("two faults at once"),
    "no_fault": say("no fault"),
    "unsolved": say("not solved"),
}
"""Each outcome as a list shows it."""


@dataclass(frozen=True, slots=True)
class ClosureWords:
    """An ending in words: what it was in short, what that means with its repair (empty when it isn't of the model)."""

    name: str
    says: str


def closure_words(closed: Closure, job: Job | None) -> ClosureWords:
    """Return how a case ended, in words; without a job its places stand as they were noted."""
    if closed.outcome == "unsolved":
        return ClosureWords(UNSOLVED, "")
    if closed.outcome == "something_else":
        return ClosureWords(closed.named, say("This is something that the model doesn't cover."))
    causes = [Cause(*fault) for fault in closed.faults]
    names = joined([_name(cause, job) for cause in causes], by="{a} and {b}")
    return ClosureWords(names, joined([_meaning(cause, job) for cause in causes], by="{a} {b}"))


def _name(cause: Cause, job: Job | None) -> str:
    words = cause.id.replace("_", " ")
    if job is None:
        return say("{cause}: {place}", cause=words, place=cause.where) if cause.where else words
    try:
        return short_name(cause, job)
    except KeyError:  # a place or cause of another version of the job, or of the program
        return say("{cause}: {place}", cause=words, place=the_place(job, cause.where)) if cause.where else words


def _meaning(cause: Cause, job: Job | None) -> str:
    if job is None:
        return ""
    try:
        return say("{says}. {repair}", says=sentence(describe_cause(cause, job)), repair=repair_text(cause))
    except KeyError:
        return ""
