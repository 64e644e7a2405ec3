"""The allowance for music, as a chart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.model import name_words
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.programme.music_result import MusicResult


@dataclass(frozen=True, slots=True)
class MusicChart:
    """How much of the time each band exceeds a level, with its ceiling; and how long each allowance clips it.

    `levels`: band, level re digital full scale, percentage of time; `clipped`: band, allowance, percentage; `choices`:
    band and its recommended allowance, by which its ceiling is below full scale.
    """

    title: str
    subtitle: str
    levels: tuple[tuple[str, float, float], ...]
    clipped: tuple[tuple[str, float, float], ...]
    choices: tuple[tuple[str, float], ...]
    limit_percent: float
    description: str


def music_chart(result: MusicResult, *, title: str) -> MusicChart:
    """Return the chart of the allowance for music."""
    levels = tuple(
        (name_words(band), p.peak_dbfs, p.time_percent) for band, points in result.distribution.items() for p in points
    )
    clipped = tuple((name_words(a.band), row.db, row.clipped_time_percent) for a in result.bands for row in a.rows)
    choices = tuple((name_words(a.band), a.choice.db) for a in result.bands)
    listed = joined([say("{band}: {db} dB", band=band, db=f"{db:g}") for band, db in choices], by="{a}; {b}")
    under = say("Vertical lines are the recommended ceilings: {words}", words=listed)
    return MusicChart(
        title, under, levels, clipped, choices, result.limits.clipped_time_percent,
        say("{place}: {words}", place=title, words=listed),
    )  # fmt: skip
