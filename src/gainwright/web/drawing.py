"""Lays a chain out for a drawing on a page: across for a wide sheet, down for a phone; balloons point to a list beside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from gainwright.model import stages_at

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import Job
    from gainwright.report import ChainDrawing

Way = Literal["across", "down"]
HIGH, EDGE, LETTER = 52, 16, 7.6
"""Height of a box, the margin around all, the width of a letter, in the drawing's own units."""
BOX = {"across": 136, "down": 102}
STEP = {"across": (200, 92), "down": (112, 124)}
"""From one column to the next and from one row to the next (across); the same turned (down)."""


@dataclass(frozen=True, slots=True)
class Balloon:
    """A number in a circle, which a list beside explains, and a share under it."""

    x: float
    y: float
    number: int
    share: str


@dataclass(frozen=True, slots=True)
class Drawn:
    """A stage as a box."""

    x: float
    y: float
    wide: float
    name: str
    kind: str
    suspected: bool


@dataclass(frozen=True, slots=True)
class Led:
    """A lead as a path."""

    path: str
    suspected: bool


@dataclass(frozen=True, slots=True)
class Sheet:
    """A laid out drawing."""

    way: Way
    wide: float
    high: float
    boxes: tuple[Drawn, ...]
    leads: tuple[Led, ...]
    balloons: tuple[Balloon, ...]


def sheets(drawing: ChainDrawing, marks: Mapping[str, list[tuple[int, str]]]) -> tuple[Sheet, Sheet]:
    """Return a drawing laid out across and down.

    Parameters
    ----------
    marks : place -> numbers and shares of its balloons.
    """
    return _sheet(drawing, marks, "across"), _sheet(drawing, marks, "down")


def _sheet(drawing: ChainDrawing, marks: Mapping[str, list[tuple[int, str]]], way: Way) -> Sheet:
    step, box = STEP[way], BOX[way]
    at = {}
    for b in drawing.boxes:
        along, aside = (
            (b.column * step[0], b.row * step[1]) if way == "across" else (b.row * step[0], b.column * step[1])
        )
        at[b.name] = (EDGE + along, EDGE + 12 + aside)
    here: dict[str, list[tuple[int, str]]] = {}
    between: dict[tuple[str, str], list[tuple[int, str]]] = {}
    for place, said in marks.items():
        ends = stages_at(place)
        if len(ends) > 1:
            between.setdefault((ends[0], ends[1]), []).extend(said)
        else:
            here.setdefault(ends[0], []).extend(said)
    boxes = tuple(
        Drawn(*at[b.name], box, _short(b.name, box), _short(b.kind, box), b.name in here) for b in drawing.boxes
    )
    pairs = [(x.source, x.target) for x in drawing.lines]
    leads = tuple(Led(_path(at[s], at[t], box, way), (s, t) in between) for s, t in pairs)
    balloons = [
        Balloon(at[name][0] + box - 14 - 25 * i, at[name][1] - 3, number, share)
        for name, said in here.items()
        if name in at
        for i, (number, share) in enumerate(said[:4])
    ]
    for (s, t), said in between.items():
        if s in at and t in at:
            x, y = _before(at[t], box, way)
            balloons += [Balloon(x, y - 4 + 26 * i, number, share) for i, (number, share) in enumerate(said[:2])]
    wide = max(x for x, _ in at.values()) + box + EDGE
    high = max(y for _, y in at.values()) + HIGH + EDGE
    return Sheet(way, wide, high, boxes, leads, tuple(balloons))


def _path(source: tuple[float, float], target: tuple[float, float], box: float, way: Way) -> str:
    """Return a lead: out of one box, along the gap behind it, into the other."""
    (sx, sy), (tx, ty) = source, target
    if way == "across":
        x0, y0, y1 = sx + box, sy + HIGH / 2, ty + HIGH / 2
        turn = x0 + (STEP[way][0] - box) / 3
        return f"M{x0:g} {y0:g}H{turn:g}V{y1:g}H{tx:g}"
    x0, y0, x1 = sx + box / 2, sy + HIGH, tx + box / 2
    turn = y0 + (STEP[way][1] - HIGH) / 3
    return f"M{x0:g} {y0:g}V{turn:g}H{x1:g}V{ty:g}"


def _before(target: tuple[float, float], box: float, way: Way) -> tuple[float, float]:
    """Return where a balloon stands on the lead into a box."""
    if way == "across":
        return target[0] - (STEP[way][0] - box) / 3, target[1] + HIGH / 2
    return target[0] + box / 2, target[1] - (STEP[way][1] - HIGH) / 2


def _short(text: str, box: float) -> str:
    most = int((box - 12) / LETTER)
    return text if len(text) <= most else f"{text[: most - 1]}…"


def chain(job: Job, marks: Mapping[str, list[tuple[int, str]]]) -> tuple[Sheet, Sheet]:
    """Return a job's chain laid out across and down, with balloons."""
    from gainwright.report import chain_drawing

    return sheets(chain_drawing(job, title=job.title or "The chain"), marks)
