"""The corridor as a chart: its data and wording, without the drawing.

One panel per path, stages from left to right; at each node the range from floor to ceiling, the level with its 95 %
interval, and the margin as text. The tightest node is marked by text, not by colour.
"""

from __future__ import annotations

import math
from dataclasses import astuple, dataclass
from typing import TYPE_CHECKING

from gainwright.texts import joined, say

if TYPE_CHECKING:
    from gainwright.solve import Levels, NodeLevel, PathLevels


@dataclass(frozen=True, slots=True)
class CorridorMark:
    """One node of one path; levels in dBV (re 1 V rms), of a digital one in dBFS."""

    path: str
    position: int
    label: str
    floor_dbv: float
    ceiling_dbv: float
    level_dbv: float
    low_dbv: float
    high_dbv: float
    margin: str
    tightest: bool


@dataclass(frozen=True, slots=True)
class CorridorChart:
    """All marks, with title and description."""

    title: str
    subtitle: str
    marks: tuple[CorridorMark, ...]
    description: str


def corridor_chart(levels: Levels, *, title: str) -> CorridorChart:
    """Return the chart of a corridor."""
    marks = [mark for name, path in _sides_together(levels.paths) for mark in _path(name, path)]
    return CorridorChart(
        title or say("Corridor"),
        say(
            "{tone} Hz at {level} dBFS. Bars: from noise to ceiling. Lines: the level, with its 95 % interval.",
            tone=f"{levels.tone_hz:g}",
            level=f"{levels.level_dbfs:g}",
        ),
        tuple(marks),
        joined([_sentence(path) for path in levels.paths], by="{a}; {b}"),
    )


def _sides_together(paths: tuple[PathLevels, ...]) -> list[tuple[str, PathLevels]]:
    """Return one path for all sides with the same figures, named after these sides."""
    groups: dict[tuple[object, ...], list[PathLevels]] = {}
    for path in paths:
        speaker = path.path.rsplit(".", 1)[0]
        shape = tuple(tuple(f"{x:.6g}" for x in astuple(node)[1:] if isinstance(x, float)) for node in path.nodes)
        groups.setdefault((speaker, shape), []).append(path)
    named = []
    for same in groups.values():
        speaker = same[0].path.rsplit(".", 1)[0]
        sides = joined([say(path.path.rsplit(".", 1)[1]) for path in same], by="{a} and {b}")
        named.append((say("{a}, {b}", a=speaker, b=sides), same[0]))
    return named


def _dbv(volts: float) -> float:
    return 20 * math.log10(volts) if volts > 0 else math.nan


def _path(name: str, path: PathLevels) -> list[CorridorMark]:
    return [_mark(name, path.limits_first, i, node) for i, node in enumerate(path.nodes)]


def _mark(name: str, limits_first: str, position: int, node: NodeLevel) -> CorridorMark:
    if not math.isnan(node.dbfs):
        label = say("{place}, dBFS", place=_place(node))
        levels = (_finite(node.dbfs), _finite(node.dbfs_low), _finite(node.dbfs_high))
        tightest = node.node == limits_first
        return CorridorMark(name, position, label, _finite(node.noise_dbfs), 0.0, *levels, margin_text(node), tightest)
    ceiling = node.ceiling_v_rms if math.isfinite(node.ceiling_v_rms) else math.nan
    return CorridorMark(
        name,
        position,
        _place(node),
        _dbv(node.noise_v_rms),
        _dbv(ceiling) if math.isfinite(ceiling) else math.nan,
        _dbv(node.v_rms),
        _dbv(max(node.v_rms_low, node.noise_v_rms)),
        _dbv(max(node.v_rms_high, node.noise_v_rms)),
        margin_text(node),
        node.node == limits_first,
    )


def _place(node: NodeLevel) -> str:
    return ".".join(node.node.split(".")[:-1]).removesuffix(".out")


def _finite(level: float) -> float:
    return level if math.isfinite(level) else math.nan


def margin_text(node: NodeLevel) -> str:
    """Return the margin as text: `3.2 dB left`, `clips by 1.0 dB`, `no ceiling`, `silent`, `below its noise`."""
    if node.v_rms <= 0 or node.dbfs == -math.inf:
        return say("silent")
    if node.v_rms < node.noise_v_rms or node.dbfs < node.noise_dbfs:
        return say("below its noise")
    if not math.isfinite(node.margin_db):
        return say("no ceiling")
    if node.margin_db >= -0.005:
        return say("{margin} dB left", margin=f"{max(node.margin_db, 0):.1f}")
    return say("clips by {margin} dB", margin=f"{-node.margin_db:.1f}")


def _sentence(path: PathLevels) -> str:
    tight = next((n for n in path.nodes if n.node == path.limits_first), None)
    if tight is None:
        return say("{path}: no signal gets through", path=path.path)
    return say("{path}: tightest at {node}, {margin}", path=path.path, node=tight.node, margin=margin_text(tight))
