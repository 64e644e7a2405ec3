"""Responses drawn with Altair: level against frequency, one curve per channel, distinguished by dashes and labels."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_parts import channel, layered, mark
from gainwright.adapters.chart_style import DASHES, INK, finished

if TYPE_CHECKING:
    from gainwright.report.response import ResponseChart


def response_spec(chart: ResponseChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of responses."""
    rows = [{"name": p.name, "frequency_hz": p.frequency_hz, "level_db": p.level_db} for p in chart.points]
    # the last point of each channel: points are sorted by frequency
    ends = list({row["name"]: row for row in rows}.values())
    names = [row["name"] for row in ends]
    axis = {"values": [20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000], "format": "~s"}
    x = channel("frequency_hz:Q", title="Hz", scale={"type": "log", "nice": False}, axis=axis)
    y = channel("level_db:Q", title="dB", scale={"zero": False, "padding": 10})
    dash = channel("name:N", scale={"domain": names, "range": DASHES[: len(names)]}, legend=None)
    line = mark("line", rows, {"x": x, "y": y, "strokeDash": dash}, color=INK, strokeWidth=1.4)
    text = {"x": x, "y": y, "text": channel("name:N")}
    label = mark("text", ends, text, align="right", dx=-4, dy=-8, fontSize=11, color=INK)
    return finished(layered([line, label], width=560, height=300), chart, grid=True)
