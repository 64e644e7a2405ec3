"""What a reading outside its interval suggests, by the side on which it lies."""

from __future__ import annotations

from typing import TypedDict

from gainwright.texts import joined, say


class Sides(TypedDict):
    """These fields of a step."""

    outside: str
    if_low: str
    if_high: str


class OwnSides(TypedDict):
    """Those of a step whose `outside` is a sentence of its own."""

    if_low: str
    if_high: str


def of_turned_gain() -> OwnSides:
    """Return what a reading suggests whose gain is turned until it is reached."""
    return {
        "if_low": say("turn the gain further up; with it fully up, the level before it is too low."),
        "if_high": say(
            "turn the gain down; at its lowest position, the level before it is too high, or a boost is on."
        ),
    }


def by_side(*, low: str = "", high: str = "", other: str = "") -> Sides:
    """Return the fields `outside`, `if_low` and `if_high` of a step.

    Parameters
    ----------
    low, high : what a reading below or above the interval suggests, without the word for its side.
    other : what else may be seen, as a whole sentence.
    """
    parts = [
        *([say("Lower: {advice}", advice=low)] if low else []),
        *([say("Higher: {advice}", advice=high)] if high else []),
        *([other] if other else []),
    ]
    return {"outside": joined(parts, by="{a} {b}"), "if_low": low, "if_high": high}
