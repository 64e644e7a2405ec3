"""Closed cases by cause, drawn with Altair."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_parts import channel, layered, mark
from gainwright.adapters.chart_style import BAND, INK, finished

if TYPE_CHECKING:
    from gainwright.report.cases import CasesChart


def cases_spec(chart: CasesChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of counts by cause."""
    rows = [{"cause": name, "cases": count, "words": words} for name, count, words in chart.bars]
    y = channel("cause:N", sort=None, title=None, axis={"labelLimit": 220, "ticks": False, "domain": False})
    x = channel("cases:Q", title="closed cases", axis={"tickMinStep": 1, "format": "d"})
    bars = mark("bar", rows, {"x": x, "y": y}, color=BAND, stroke=INK, strokeWidth=0.8)
    text = {"x": x, "y": y, "text": channel("words:N")}
    words = mark("text", rows, text, align="left", dx=5, fontSize=10, color=INK)
    return finished(layered([bars, words], width=420, height=26 * max(len(rows), 1)), chart, grid=False)
