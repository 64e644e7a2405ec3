"""A rising tone drawn with Altair: level above, THD below, the time at which the limit is exceeded."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_parts import channel, layered, mark, stacked
from gainwright.adapters.chart_style import DASHES, INK, MARK, finished

if TYPE_CHECKING:
    from gainwright.report.onset import OnsetChart


def onset_spec(chart: OnsetChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of a rising tone."""
    rows = [
        {"name": p.name, "time_s": p.time_s, "rms_dbfs": p.rms_dbfs, "thd_percent": max(p.thd_percent, 0.001)}
        for p in chart.points
    ]
    names = list(dict.fromkeys(row["name"] for row in rows))
    dash = channel("name:N", scale={"domain": names, "range": DASHES[: len(names)]}, legend=None)
    x = channel("time_s:Q", title="s", scale={"nice": False})
    moments = [{"name": name, "time_s": at, "words": f"{name} begins to clip"} for name, at in chart.onsets]
    rule = mark("rule", moments, {"x": x}, color=MARK, strokeWidth=1.6)
    text = {"x": x, "text": channel("words:N")}
    words = mark("text", moments[:1], text, align="right", dx=-6, y=12, fontSize=11, color=INK)
    limits = [{"thd_percent": chart.limit_percent}]
    limit = mark("rule", limits, {"y": channel("thd_percent:Q")}, color=INK, strokeDash=[6, 4])
    level = channel("rms_dbfs:Q", title="dBFS", scale={"zero": False})
    thd = channel("thd_percent:Q", title="THD, %", scale={"type": "log"})

    def line(y: dict[str, Any]) -> dict[str, Any]:
        return mark("line", rows, {"x": x, "y": y, "strokeDash": dash}, color=INK, strokeWidth=1.3)

    panels = [
        layered([line(level), rule, words], width=540, height=180),
        layered([line(thd), limit, rule], width=540, height=180),
    ]
    return finished(stacked(panels, spacing=16), chart, grid=True)
