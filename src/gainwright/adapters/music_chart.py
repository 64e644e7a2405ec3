"""The allowance for music, drawn with Altair: time above each level with the ceilings, and clipped time by allowance."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_parts import channel, layered, mark, stacked
from gainwright.adapters.chart_style import DASHES, INK, MARK, finished

if TYPE_CHECKING:
    from gainwright.report.music_chart import MusicChart

_LEAST_PERCENT = 0.001
_WIDE, _HIGH = 540, 200
_APART = 60, 14
"""Names whose lines end within this many pixels, across and up, would cover each other: they stand on lines below each other."""


def music_spec(chart: MusicChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of the allowance for music."""
    names = [band for band, _ in chart.choices]
    dashes = [DASHES[i % len(DASHES)] for i in range(len(names))]
    dash = channel("name:N", scale={"domain": names, "range": dashes}, legend=None)
    drawn = [(name, level, p) for name, level, p in chart.levels if name in names and level >= -40]
    ceilings = [{"name": name, "x": -db} for name, db in chart.choices]
    choices = [{"name": name, "x": db} for name, db in chart.choices]
    panels = [
        _panel(drawn, ceilings, dash, x="dB re full scale", y="time above, %"),
        _panel(chart.clipped, choices, dash, x="allowance, dB", y="clipped time, %", limit=chart.limit_percent),
    ]
    return finished(stacked(panels, spacing=18), chart, grid=True)


def _panel(points: Any, moments: Any, dash: Any, *, x: str, y: str, limit: float | None = None) -> dict[str, Any]:
    rows = [{"name": name, "x": at, "percent": percent} for name, at, percent in points if percent >= _LEAST_PERCENT]
    across = channel("x:Q", title=x, scale={"nice": False, "zero": False})
    scale = {"type": "log", "domain": [_LEAST_PERCENT, 100]}
    up = channel("percent:Q", title=y, scale=scale, axis={"format": "~g"})
    label = {"x": across, "y": up, "text": channel("name:N")}
    layers = [
        mark("line", rows, {"x": across, "y": up, "strokeDash": dash}, color=INK, strokeWidth=1.4),
        mark("text", _labels(rows), label, align="left", dx=5, dy=-6, fontSize=11, color=INK, lineBreak="\n"),
        mark("rule", moments, {"x": across, "strokeDash": dash}, color=MARK, strokeWidth=1.6),
    ]
    if limit is not None:
        layers.append(mark("rule", [{"percent": limit}], {"y": up}, color=INK, strokeDash=[6, 4]))
    return layered(layers, width=_WIDE, height=_HIGH)


def _labels(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return a name at the end of each line; of lines that end nearly together all names at one of the ends."""
    ends = list({row["name"]: row for row in rows}.values())
    across = [row["x"] for row in rows]
    pixels = _WIDE / (max(across, default=0.0) - min(across, default=0.0) or 1.0)
    decade = _HIGH / math.log10(100 / _LEAST_PERCENT)
    placed: list[dict[str, Any]] = []
    for row in ends:
        near = next(
            (
                p
                for p in placed
                if abs(p["x"] - row["x"]) * pixels < _APART[0]
                and abs(math.log10(p["percent"] / row["percent"])) * decade < _APART[1]
            ),
            None,
        )
        if near is None:
            placed.append(dict(row))
        else:
            near["name"] += f"\n{row['name']}"
    return placed
