"""The allowance for music, drawn with Altair: time above each level with the ceilings, and clipped time by allowance."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_style import DASHES, INK, MARK, finished

if TYPE_CHECKING:
    from gainwright.report.music_chart import MusicChart

_LEAST_PERCENT = 0.001


def music_spec(chart: MusicChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of the allowance for music."""
    import altair

    alt: Any = altair  # its helpers carry no types
    names = [band for band, _ in chart.choices]
    dashes = [DASHES[i % len(DASHES)] for i in range(len(names))]
    dash = alt.StrokeDash("name:N", scale=alt.Scale(domain=names, range=dashes), legend=None)
    drawn = [(name, level, p) for name, level, p in chart.levels if name in names and level >= -40]
    ceilings = [{"name": name, "x": -db} for name, db in chart.choices]
    choices = [{"name": name, "x": db} for name, db in chart.choices]
    whole = alt.vconcat(
        _panel(alt, drawn, ceilings, dash, x="dB re full scale", y="time above, %"),
        _panel(alt, chart.clipped, choices, dash, x="allowance, dB", y="clipped time, %", limit=chart.limit_percent),
        spacing=18,
    )
    return finished(alt, whole, chart, grid=True)


def _panel(
    alt: Any, points: Any, moments: Any, dash: Any, *, x: str, y: str, limit: float | None = None
) -> Any:  # fmt: skip
    rows = [{"name": name, "x": at, "percent": percent} for name, at, percent in points if percent >= _LEAST_PERCENT]
    across = alt.X("x:Q", title=x, scale=alt.Scale(nice=False, zero=False))
    up = alt.Y(
        "percent:Q", title=y, scale=alt.Scale(type="log", domain=[_LEAST_PERCENT, 100]), axis=alt.Axis(format="~g")
    )
    lines = (
        alt.Chart(alt.Data(values=rows)).mark_line(color=INK, strokeWidth=1.4).encode(x=across, y=up, strokeDash=dash)
    )
    found = {row["name"]: row for row in rows}
    label = (
        alt.Chart(alt.Data(values=list(found.values())))
        .mark_text(align="left", dx=5, dy=-6, fontSize=11, color=INK)
        .encode(x=across, y=up, text="name:N")
    )
    marks = alt.Chart(alt.Data(values=moments))
    rule = marks.mark_rule(color=MARK, strokeWidth=1.6).encode(x=across, strokeDash=dash)
    layers = [lines, label, rule]
    if limit is not None:
        layers.append(
            alt.Chart(alt.Data(values=[{"percent": limit}])).mark_rule(color=INK, strokeDash=[6, 4]).encode(y=up)
        )
    return alt.layer(*layers).properties(width=540, height=200)
