"""Responses drawn with Altair: level against frequency, one curve per channel, distinguished by dashes and labels."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_style import DASHES, INK, finished

if TYPE_CHECKING:
    from gainwright.report.response import ResponseChart


def response_spec(chart: ResponseChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of responses."""
    import altair

    alt: Any = altair  # its helpers carry no types
    rows = [{"name": p.name, "frequency_hz": p.frequency_hz, "level_db": p.level_db} for p in chart.points]
    ends = list(
        {row["name"]: row for row in rows}.values()
    )  # the last point of each channel: points are sorted by frequency
    names = [row["name"] for row in ends]
    axis = alt.Axis(values=[20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000], format="~s")
    x = alt.X("frequency_hz:Q", title="Hz", scale=alt.Scale(type="log", nice=False), axis=axis)
    y = alt.Y("level_db:Q", title="dB", scale=alt.Scale(zero=False, padding=10))
    dash = alt.StrokeDash("name:N", scale=alt.Scale(domain=names, range=DASHES[: len(names)]), legend=None)
    line = alt.Chart(alt.Data(values=rows)).mark_line(color=INK, strokeWidth=1.4).encode(x=x, y=y, strokeDash=dash)
    label = (
        alt.Chart(alt.Data(values=ends))
        .mark_text(align="right", dx=-4, dy=-8, fontSize=11, color=INK)
        .encode(x=x, y=y, text="name:N")
    )
    return finished(alt, alt.layer(line, label).properties(width=560, height=300), chart, grid=True)
