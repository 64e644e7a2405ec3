"""A rising tone drawn with Altair: level above, THD below, the time at which the limit is exceeded."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_style import DASHES, INK, MARK, finished

if TYPE_CHECKING:
    from gainwright.report.onset import OnsetChart


def onset_spec(chart: OnsetChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of a rising tone."""
    import altair

    alt: Any = altair  # its helpers carry no types
    rows = [
        {"name": p.name, "time_s": p.time_s, "rms_dbfs": p.rms_dbfs, "thd_percent": max(p.thd_percent, 0.001)}
        for p in chart.points
    ]
    names = list(dict.fromkeys(row["name"] for row in rows))
    dash = alt.StrokeDash("name:N", scale=alt.Scale(domain=names, range=DASHES[: len(names)]), legend=None)
    x = alt.X("time_s:Q", title="s", scale=alt.Scale(nice=False))
    moments = [{"name": name, "time_s": at, "words": f"{name} begins to clip"} for name, at in chart.onsets]
    lines = alt.Chart(alt.Data(values=rows)).mark_line(color=INK, strokeWidth=1.3)
    rule = alt.Chart(alt.Data(values=moments)).mark_rule(color=MARK, strokeWidth=1.6).encode(x=x)
    words = (
        alt.Chart(alt.Data(values=moments[:1]))
        .mark_text(align="right", dx=-6, y=12, fontSize=11, color=INK)
        .encode(x=x, text="words:N")
    )
    limit = (
        alt.Chart(alt.Data(values=[{"thd_percent": chart.limit_percent}]))
        .mark_rule(color=INK, strokeDash=[6, 4])
        .encode(y=alt.Y("thd_percent:Q"))
    )
    level = alt.Y("rms_dbfs:Q", title="dBFS", scale=alt.Scale(zero=False))
    thd = alt.Y("thd_percent:Q", title="THD, %", scale=alt.Scale(type="log"))
    whole = alt.vconcat(
        alt.layer(lines.encode(x=x, y=level, strokeDash=dash), rule, words).properties(width=540, height=180),
        alt.layer(lines.encode(x=x, y=thd, strokeDash=dash), limit, rule).properties(width=540, height=180),
        spacing=16,
    )
    return finished(alt, whole, chart, grid=True)
