"""The knee drawn with Altair: readings, the fitted curve, the ceiling, the onset of clipping."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_style import BAND, INK, MARK, finished

if TYPE_CHECKING:
    from gainwright.report.knee import KneeChart


def knee_spec(chart: KneeChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of a knee."""
    import altair

    alt: Any = altair  # its helpers carry no types

    axis = alt.Axis(tickMinStep=1, format="~g")
    x = alt.X("step:Q", title="step", axis=axis, scale=alt.Scale(zero=False, nice=False, padding=12))
    y = alt.Y("v_rms:Q", title="V rms", scale=alt.Scale(type="log", nice=False, padding=14))
    layers = []
    if chart.onset is not None:
        span = [{"low": chart.onset.low, "high": chart.onset.high, "at": chart.onset.value, "words": "clipping begins"}]
        layers.append(alt.Chart(alt.Data(values=span)).mark_rect(color=BAND).encode(x=alt.X("low:Q"), x2="high:Q"))
        layers.append(
            alt.Chart(alt.Data(values=span))
            .mark_text(align="right", baseline="bottom", dx=-6, y="height", dy=-6, fontSize=11, color=INK)
            .encode(x=alt.X("low:Q"), text="words:N")
        )
    if chart.ceiling is not None:
        rule = [{"v_rms": chart.ceiling.value, "words": "largest clean sine"}]
        base = alt.Chart(alt.Data(values=rule))
        layers.append(base.mark_rule(color=INK, strokeDash=[6, 4]).encode(y=y))
        layers.append(
            base.mark_text(align="left", baseline="bottom", dx=4, dy=-4, x=0, fontSize=11, color=INK).encode(
                y=y, text="words:N"
            )
        )
    curve = [{"step": s, "v_rms": v} for s, v in chart.curve]
    if curve:
        layers.append(alt.Chart(alt.Data(values=curve)).mark_line(color=INK, strokeWidth=1.2).encode(x=x, y=y))
    rows = [{"step": m.step, "v_rms": m.v_rms, "doubtful": m.doubtful} for m in chart.marks]
    points = alt.Chart(alt.Data(values=rows))
    layers.append(
        points.transform_filter("!datum.doubtful").mark_point(color=INK, filled=True, size=46).encode(x=x, y=y)
    )
    layers.append(
        points.transform_filter("datum.doubtful")
        .mark_point(color=MARK, shape="cross", filled=True, size=110)
        .encode(x=x, y=y)
    )
    return finished(alt, alt.layer(*layers).properties(width=520, height=320), chart, grid=False)
