"""Limits on a task of a class exercise: on tests, minutes and guesses."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import CallError

if TYPE_CHECKING:
    from gainwright.model import Limits


def refuse_test(limits: Limits, *, tests: int, minutes: float) -> None:
    """Refuse another test when a limit is reached.

    Raises
    ------
    CallError : so many tests were made, or so many minutes used, already.
    """
    if limits.tests is not None and tests >= limits.tests:
        raise _reached(f"{limits.tests} tests were made, which is the limit")
    if limits.minutes is not None and minutes >= limits.minutes:
        raise _reached(f"{limits.minutes:g} minutes were used, which is the limit")


def refuse_guess(limits: Limits, *, guesses: int) -> None:
    """Refuse another guess when the limit is reached. CallError: the fault was named so often already."""
    if limits.guesses is not None and guesses >= limits.guesses:
        raise CallError(f"{limits.guesses} guesses were made, which is the limit", code="limit_reached")


def _reached(what: str) -> CallError:
    return CallError(what, code="limit_reached", remedy="name the fault, or give up")


def limits_text(limits: Limits) -> str:
    """Return the limits in words, empty without any: `10 tests, 60 minutes, 3 guesses`."""
    parts = [
        "" if number is None else f"{number:g} {what}"
        for number, what in ((limits.tests, "tests"), (limits.minutes, "minutes"), (limits.guesses, "guesses"))
    ]
    return ", ".join(part for part in parts if part)
