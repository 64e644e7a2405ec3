"""The ways in which a case ends: found, something else, two faults, no fault, unsolved; as typed and as stored."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.model.case import Closure, Outcome

LONGEST_NAME = 200
TYPED = """  close CAUSE PLACE    close the case with its cause
  close two CAUSE PLACE and CAUSE PLACE
  close something else WORDS
  close no fault       nothing was wrong with the chain
  close unsolved       it ended without an answer"""


@dataclass(frozen=True, slots=True)
class Ending:
    """How a person says that a case ended; see `Closure`."""

    cause: str = ""
    where: str = ""
    outcome: Outcome = "found"
    second_cause: str = ""
    second_where: str = ""
    named: str = ""
    note: str = ""


def closure_of(ending: Ending, *, on: str = "") -> Closure:
    """Return an ending as it is stored; fields that don't belong to its outcome are left out.

    Raises
    ------
    CallError : what belongs to its outcome is missing.
    """
    from gainwright.model.case import Closure

    outcome = ending.outcome
    if outcome in ("found", "two_faults") and not ending.cause:
        raise _missing(say("the cause is missing"), say("name the fault, or choose another outcome"))
    if outcome == "two_faults" and not ending.second_cause:
        raise _missing(
            say("the second fault is missing"), say("name it, or close the case with the one that was found")
        )
    if outcome == "two_faults" and (ending.cause, ending.where) == (ending.second_cause, ending.second_where):
        raise _missing(say("both faults are the same"), say("name two different ones, or close the case with this one"))
    named = " ".join(ending.named.split())[:LONGEST_NAME]
    if outcome == "something_else" and not named:
        raise _missing(
            say("what it was is missing"), say("say it in a few words, such as: the player's equaliser was on")
        )
    of_chain = outcome in ("found", "two_faults", "no_fault")
    two = outcome == "two_faults"
    return Closure(
        cause=ending.cause if of_chain else "",
        where=ending.where if of_chain else "",
        note=ending.note,
        on=on,
        outcome=outcome,
        second_cause=ending.second_cause if two else "",
        second_where=ending.second_where if two else "",
        named=named if outcome == "something_else" else "",
    )


def _missing(what: str, remedy: str) -> CallError:
    return CallError(what, code="bad_close", remedy=remedy)


def typed_ending(text: str) -> Ending:
    """Return the ending that somebody typed after `close`, as in `TYPED`.

    Raises
    ------
    CallError : nothing was typed, or a second fault is missing.
    """
    words = text.split()
    low = [word.lower() for word in words]
    if not words:
        raise _missing(say("the cause is missing"), say("write close lead_open lead:a-b, or close unsolved"))
    if low == ["unsolved"]:
        return Ending(outcome="unsolved")
    if low == ["no", "fault"]:
        return Ending(outcome="no_fault")
    if low[:2] == ["something", "else"]:
        return Ending(outcome="something_else", named=" ".join(words[2:]))
    if low[0] == "two":
        first, _, second = " ".join(words[1:]).partition(" and ")
        cause, _, where = first.partition(" ")
        other, _, there = second.partition(" ")
        return Ending(cause, where, "two_faults", other, there)
    return Ending(words[0], words[1] if len(words) > 1 else "")
