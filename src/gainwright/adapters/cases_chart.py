"""Closed cases by cause, drawn with Altair."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_style import BAND, INK, finished

if TYPE_CHECKING:
    from gainwright.report.cases import CasesChart


def cases_spec(chart: CasesChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of counts by cause."""
    import altair

    alt: Any = altair  # its helpers carry no types

    rows = [{"cause": name, "cases": count, "words": words} for name, count, words in chart.bars]
    base = alt.Chart(alt.Data(values=rows))
    y = alt.Y("cause:N", sort=None, title=None, axis=alt.Axis(labelLimit=220, ticks=False, domain=False))
    x = alt.X("cases:Q", title="closed cases", axis=alt.Axis(tickMinStep=1, format="d"))
    bars = base.mark_bar(color=BAND, stroke=INK, strokeWidth=0.8).encode(x=x, y=y)
    words = base.mark_text(align="left", dx=5, fontSize=10, color=INK).encode(x=x, y=y, text="words:N")
    drawing = alt.layer(bars, words).properties(width=420, height=26 * max(len(rows), 1))
    return finished(alt, drawing, chart, grid=False)
