"""Limits on a task of a class exercise: on tests, minutes and guesses."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.model.class_exercise import PracticeLimits


def refuse_test(limits: PracticeLimits, *, tests: int, minutes: float) -> None:
    """Refuse another test when a limit is reached.

    Raises
    ------
    CallError : the limit of tests or of minutes is reached.
    """
    if limits.tests is not None and tests >= limits.tests:
        raise _reached(say("{number} tests were made, which is the limit", number=limits.tests))
    if limits.minutes is not None and minutes >= limits.minutes:
        raise _reached(say("{number} minutes were used, which is the limit", number=f"{limits.minutes:g}"))


def refuse_guess(limits: PracticeLimits, *, guesses: int) -> None:
    """Refuse another guess when the limit is reached. CallError: it is."""
    if limits.guesses is not None and guesses >= limits.guesses:
        what = say("{number} guesses were made, which is the limit", number=limits.guesses)
        raise CallError(what, code="limit_reached")


def _reached(what: str) -> CallError:
    return CallError(what, code="limit_reached", remedy=say("name the fault, or give up"))


def limit_words(limits: PracticeLimits) -> list[str]:
    """Return each limit in words."""
    found = []
    if limits.tests is not None:
        found.append(say("{number} tests", number=limits.tests) if limits.tests != 1 else say("1 test"))
    if limits.minutes is not None:
        found.append(say("{number} minutes", number=f"{limits.minutes:g}"))
    if limits.guesses is not None:
        found.append(say("{number} guesses", number=limits.guesses) if limits.guesses != 1 else say("1 guess"))
    return found
