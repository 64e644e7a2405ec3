"""Allowances, drawn with Altair."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_parts import channel, end, layered, mark
from gainwright.adapters.chart_style import BAND, INK, finished

if TYPE_CHECKING:
    from gainwright.report.allowance import AllowanceChart


def allowance_spec(chart: AllowanceChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of allowances: bars that end at full scale."""
    rows = [{"kind": name, "tone": level, "top": 0.0, "words": words} for name, level, words in chart.bars]
    lowest = min(-12.0, *(level - 2 for _, level, _ in chart.bars))
    y = channel("kind:N", sort=None, title=None, axis={"labelLimit": 220, "ticks": False, "domain": False})
    scale = {"domain": [lowest, 0], "nice": False}
    x = channel("tone:Q", title="dBFS", scale=scale, axis={"format": "d", "tickCount": 6})
    bars = mark("bar", rows, {"x": x, "x2": end("top"), "y": y}, color=BAND, stroke=INK, strokeWidth=0.8)
    text = {"x": x, "y": y, "text": channel("words:N")}
    words = mark("text", rows, text, align="right", dx=-5, fontSize=10, color=INK)
    return finished(layered([bars, words], width=420, height=26 * max(len(rows), 1)), chart, grid=False)
