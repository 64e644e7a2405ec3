"""The corridor as a chart: its data and wording, without the drawing.

One panel per path, stages from left to right; at each node the range from floor to ceiling, the level with its 95 %
interval, and the margin as text. The tightest node is marked by text, not by colour.
"""

from __future__ import annotations

import math
from dataclasses import astuple, dataclass
from typing import TYPE_CHECKING

from gainwright.model import node_title, stage_title, the_place
from gainwright.texts import joined, say, sentence

if TYPE_CHECKING:
    from gainwright.model import Job
    from gainwright.solve import Levels, NodeLevel, PathLevels

CLIPS_DB = 0.005
"""A level that passes its ceiling by less is shown as at the ceiling."""


@dataclass(frozen=True, slots=True)
class CorridorMark:
    """One node of one path, and the name of that path in results (`of`); levels in dBV (re 1 V rms), of a digital one in dBFS."""

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
    of: str = ""


@dataclass(frozen=True, slots=True)
class CorridorChart:
    """All marks, with title and description."""

    title: str
    subtitle: str
    marks: tuple[CorridorMark, ...]
    description: str


def corridor_chart(levels: Levels, job: Job, *, title: str) -> CorridorChart:
    """Return the chart of a corridor; `job` names its places."""
    together = sides_together(levels.paths, job)
    marks = [mark for name, path in together for mark in _path(name, path, job)]
    return CorridorChart(
        title or say("Corridor"),
        say(
            "{tone} Hz at {level} dBFS. Bars: from noise to ceiling. Lines: the level, with its 95 % interval.",
            tone=f"{levels.tone_hz:g}",
            level=f"{levels.level_dbfs:g}",
        ),
        tuple(marks),
        joined([_tightest(name, path, job) for name, path in together], by="{a}; {b}"),
    )


def advice(levels: Levels, job: Job) -> str:
    """Return what to do about a corridor, in one or two sentences: of all paths, the place with the least to spare."""
    tight = [_tight(path) for path in levels.paths]
    found = [node for node in tight if node is not None]
    if not found:
        return say("With this tone no signal gets through: play a tone that the path passes.")
    node = min(found, key=lambda n: n.margin_db)
    place = the_place(job, node.node)
    if node.margin_db < -CLIPS_DB:
        over = f"{-node.margin_db:.1f}"
        return say(
            "{place} clips by {over} dB with this tone: turn down what comes before it by at least as much.",
            place=sentence(place),
            over=over,
        )
    silent = len(found) < len(tight)
    text = say(
        "Nothing clips with this tone: {margin} dB to spare; turned up further, {place} clips first.",
        place=place,
        margin=f"{max(node.margin_db, 0):.1f}",
    )
    return say("{a} {b}", a=text, b=say("Not every path passes it.")) if silent else text


def _tight(path: PathLevels) -> NodeLevel | None:
    return next((n for n in path.nodes if n.node == path.limits_first), None)


def sides_together(paths: tuple[PathLevels, ...], job: Job) -> list[tuple[str, PathLevels]]:
    """Return one path for all sides with the same figures, named after these sides."""
    groups: dict[tuple[object, ...], list[PathLevels]] = {}
    for path in paths:
        speaker = path.path.rsplit(".", 1)[0]
        shape = tuple(tuple(f"{x:.6g}" for x in astuple(node)[1:] if isinstance(x, float)) for node in path.nodes)
        groups.setdefault((speaker, shape), []).append(path)
    named = []
    for same in groups.values():
        speaker = stage_title(job, same[0].path.rsplit(".", 1)[0])
        sides = [say(side) for side in (path.path.rsplit(".", 1)[1] for path in same) if side != "mono"]
        name = say("{a}, {b}", a=speaker, b=joined(sides, by="{a} and {b}")) if sides else speaker
        named.append((name, same[0]))
    return named


def _dbv(volts: float) -> float:
    return 20 * math.log10(volts) if volts > 0 else math.nan


def _path(name: str, path: PathLevels, job: Job) -> list[CorridorMark]:
    return [_mark(name, path, i, node, node_title(job, node.node)) for i, node in enumerate(path.nodes)]


def _mark(name: str, path: PathLevels, position: int, node: NodeLevel, place: str) -> CorridorMark:
    if not math.isnan(node.dbfs):
        label = say("{place}, dBFS", place=place)
        levels = (_finite(node.dbfs), _finite(node.dbfs_low), _finite(node.dbfs_high))
        tightest = node.node == path.limits_first

        return CorridorMark(
            name, position, label, _finite(node.noise_dbfs), 0.0, *levels, margin_text(node), tightest, path.path
        )
    ceiling = node.ceiling_v_rms if math.isfinite(node.ceiling_v_rms) else math.nan
    return CorridorMark(
        name,
        position,
        place,
        _dbv(node.noise_v_rms),
        _dbv(ceiling) if math.isfinite(ceiling) else math.nan,
        _dbv(node.v_rms),
        _dbv(max(node.v_rms_low, node.noise_v_rms)),
        _dbv(max(node.v_rms_high, node.noise_v_rms)),
        margin_text(node),
        node.node == path.limits_first,
        path.path,
    )


def _finite(level: float) -> float:
    return level if math.isfinite(level) else math.nan


def margin_text(node: NodeLevel) -> str:
    """Return the margin as text: `3.2 dB to spare`, `clips by 1.0 dB`, `no ceiling`, `silent`, `below its noise`."""
    if node.v_rms <= 0 or node.dbfs == -math.inf:
        return say("silent")
    if node.v_rms < node.noise_v_rms or node.dbfs < node.noise_dbfs:
        return say("below its noise")
    if not math.isfinite(node.margin_db):
        return say("no ceiling")
    if node.margin_db >= -CLIPS_DB:
        return say("{margin} dB to spare", margin=f"{max(node.margin_db, 0):.1f}")
    return say("clips by {margin} dB", margin=f"{-node.margin_db:.1f}")


def _tightest(name: str, path: PathLevels, job: Job) -> str:
    tight = _tight(path)
    if tight is None:
        return say("{path}: no signal gets through", path=name)
    return say(
        "{path}: tightest at {node}, {margin}", path=name, node=the_place(job, tight.node), margin=margin_text(tight)
    )
