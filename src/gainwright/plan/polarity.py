"""The polarity of speakers that play together, by ear, softly."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.plan.result import Step
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.plan.context import PlanContext


def polarity(context: PlanContext) -> Iterator[Step]:
    """Yield the check by ear of speakers in pairs, and of those that share a crossover; none where one speaker plays alone."""
    pairs = [s for end in context.ends if len({n.side for n in end.nodes}) > 1 for s in end.speakers]
    singles = [s for end in context.ends for s in end.speakers if s not in pairs]
    parts = []
    if pairs:
        parts.append(
            say(
                "Play a voice with bass softly, the same on both sides, balance in the middle, one pair at a time ({pairs}): the voice stands in the middle, and the bass of a pair that plays bass is full. A voice without a place, or thin bass: swap the two wires of one of the two.",
                pairs=joined(list(dict.fromkeys(pairs))),
            )
        )
    if pairs and singles:
        parts.append(
            say(
                "Then let {singles} play with the rest: of the two polarities of {singles} the one with more sound around the crossover is right.",
                singles=joined(list(dict.fromkeys(singles)), by="{a} and {b}"),
            )
        )
    if not parts:
        return
    yield Step(
        "verify.polarity",
        "verify",
        "",
        joined(parts, by="{a} {b}"),
        say(
            "A reversed speaker takes away bass and place, and no voltage shows it. Wires are swapped with everything off; a processor's polarity switch does the same."
        ),
    )
