"""A chart of how the probabilities of the causes changed, entry by entry."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.diagnose import Cause, Diagnoser, describe_entry, short_name
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.model import Entry

MOST = 5


@dataclass(frozen=True, slots=True)
class BeliefChart:
    """Probability of the leading causes after each entry: name, and per cent after 0, 1, 2 ... entries."""

    title: str
    subtitle: str
    entries: tuple[str, ...]
    curves: tuple[tuple[str, tuple[float, ...]], ...]
    description: str


def belief_chart(diagnoser: Diagnoser, entries: Sequence[Entry], *, title: str) -> BeliefChart:
    """Return the probabilities of the finally most probable causes, from the start of the case."""
    history: list[dict[Cause, float]] = []
    for n in range(len(entries) + 1):
        with diagnoser.turn:
            causes, probability, _ = diagnoser.weigh(entries[:n]).of_causes()
        history.append(dict(zip(causes, map(float, probability), strict=True)))
    last = sorted(history[-1], key=lambda c: -history[-1][c])[:MOST]
    curves = tuple((short_name(c, diagnoser.job), tuple(100 * h.get(c, 0.0) for h in history)) for c in last)
    text = say(
        "{cause}: {percent} % after {count} entries",
        cause=curves[0][0],
        percent=f"{curves[0][1][-1]:.0f}",
        count=len(entries),
    )
    return BeliefChart(
        title,
        text,
        tuple(describe_entry(e, diagnoser.job) for e in entries),
        curves,
        say("{place}: {words}", place=title, words=text),
    )
