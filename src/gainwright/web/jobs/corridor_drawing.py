"""The corridor drawn as a passage, places from top to bottom: the right wall is the ceiling, the left one the noise.

The distance below the ceiling is drawn by its square root, so that the last decibels are wide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gainwright.report.corridor import CorridorChart, CorridorMark

WIDE, LEFT, RIGHT = 360.0, 104.0, 324.0
"""Of the drawing: its width, the x of the greatest distance below the ceiling, the x of the ceiling."""
TOP, ROW, BEND = 20.0, 54.0, 12.0
"""Height of the scale, of a place, and of the transition to the next place."""
DEEPEST_DB, OVER_DB = 110.0, 6.0
TICKS_DB = (0, 1, 3, 10, 30, 60, 100)


@dataclass(frozen=True, slots=True)
class DrawnPlace:
    """One place with its texts and position; `kind` is a state of the sheet, `pinch` whether it is the tightest."""

    label: str
    margin: str
    y: float
    kind: str
    pinch: bool
    x: float
    open: bool


@dataclass(frozen=True, slots=True)
class Passage:
    """One path, laid out."""

    name: str
    path: str
    number: int
    high: float
    places: tuple[DrawnPlace, ...]
    level: str
    band: str
    floor: str
    tightest_db: float

    @property
    def ticks(self) -> list[tuple[float, str]]:
        """Positions and labels of the scale."""
        return [(across(db), f"{db}") for db in TICKS_DB]


def across(under_db: float) -> float:
    """Return the x of a distance below the ceiling in dB."""
    if under_db < 0:
        return RIGHT + (WIDE - RIGHT - 6) * min(-under_db, OVER_DB) / OVER_DB
    return RIGHT - (RIGHT - LEFT) * math.sqrt(min(under_db, DEEPEST_DB) / DEEPEST_DB)


def passages(chart: CorridorChart) -> tuple[Passage, ...]:
    """Return every path of a corridor laid out."""
    groups = [(name, list(marks)) for name, marks in groupby(chart.marks, key=lambda m: m.path)]
    return tuple(_passage(name, number, marks) for number, (name, marks) in enumerate(groups))


def _passage(name: str, number: int, marks: list[CorridorMark]) -> Passage:
    rows: list[tuple[float, float, float, float, float]] = []
    places = []
    ceiling = 0.0
    for i, mark in enumerate(marks):
        known = math.isfinite(mark.ceiling_dbv)
        # without a ceiling the passage keeps its width, and the wall is drawn open
        ceiling = mark.ceiling_dbv if known else _carried(mark, marks[i - 1] if i else None, ceiling)
        top = TOP + i * ROW
        x = _at(mark.level_dbv, mark.floor_dbv, ceiling)
        xs = (x, _at(mark.low_dbv, mark.floor_dbv, ceiling), _at(mark.high_dbv, mark.floor_dbv, ceiling))
        rows.append((top + BEND / 2, xs[0], xs[1], xs[2], across(max(ceiling - mark.floor_dbv, 0.0))))
        places.append(DrawnPlace(mark.label, mark.margin, top + ROW / 2, _kind(mark), mark.tightest, x, not known))
    tightest = min((m.ceiling_dbv - m.level_dbv for m in marks if m.tightest), default=math.inf)
    return Passage(
        name,
        marks[0].of,
        number,
        TOP + len(marks) * ROW + 6,
        tuple(places),
        _line([(y, x) for y, x, *_ in rows]),
        _line([(y, low) for y, _, low, *_ in rows]) + " " + _line([(y, high) for y, _, _, high, _ in rows], back=True),
        _line([(y, floor) for y, *_, floor in rows]),
        tightest,
    )


def _carried(mark: CorridorMark, before: CorridorMark | None, ceiling: float) -> float:
    """Return a ceiling for a place without one: as far above the level as at the place before."""
    if before is None or not (math.isfinite(mark.level_dbv) and math.isfinite(before.level_dbv)):
        return mark.level_dbv if math.isfinite(mark.level_dbv) else 0.0
    return ceiling + mark.level_dbv - before.level_dbv


def _at(level_dbv: float, floor_dbv: float, ceiling_dbv: float) -> float:
    return across(ceiling_dbv - (level_dbv if math.isfinite(level_dbv) else floor_dbv))


def _kind(mark: CorridorMark) -> str:
    if not math.isfinite(mark.level_dbv) or mark.level_dbv < mark.floor_dbv:
        return "low"
    return "stop" if mark.ceiling_dbv - mark.level_dbv < -0.005 else "plain"


def _line(points: list[tuple[float, float]], *, back: bool = False) -> str:
    """Return the points of a line that is vertical within a place and slants to the next."""
    corners = [(x, y + dy) for y, x in points for dy in (0.0, ROW - BEND)]
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in (reversed(corners) if back else corners))
