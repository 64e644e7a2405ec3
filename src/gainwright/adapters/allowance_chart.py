"""Allowances, drawn with Altair."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_style import BAND, INK, finished

if TYPE_CHECKING:
    from gainwright.report.allowance import AllowanceChart


def allowance_spec(chart: AllowanceChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of allowances: bars that end at full scale."""
    import altair

    alt: Any = altair  # its helpers carry no types
    rows = [{"kind": name, "tone": level, "top": 0.0, "words": words} for name, level, words in chart.bars]
    lowest = min(-12.0, *(level - 2 for _, level, _ in chart.bars))
    base = alt.Chart(alt.Data(values=rows))
    y = alt.Y("kind:N", sort=None, title=None, axis=alt.Axis(labelLimit=220, ticks=False, domain=False))
    scale = alt.Scale(domain=[lowest, 0], nice=False)
    x = alt.X("tone:Q", title="dBFS", scale=scale, axis=alt.Axis(format="d", tickCount=6))
    bars = base.mark_bar(color=BAND, stroke=INK, strokeWidth=0.8).encode(x=x, x2="top:Q", y=y)
    words = base.mark_text(align="right", dx=-5, fontSize=10, color=INK).encode(x=x, y=y, text="words:N")
    drawing = alt.layer(bars, words).properties(width=420, height=26 * max(len(rows), 1))
    return finished(alt, drawing, chart, grid=False)
