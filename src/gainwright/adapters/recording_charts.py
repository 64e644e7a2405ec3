"""Waveform, spectrum and probabilities of causes, drawn with Altair."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_style import DASHES, INK, MARK, finished

if TYPE_CHECKING:
    from gainwright.report.belief_chart import BeliefChart
    from gainwright.report.recording_charts import SpectrumChart, WaveformChart

WIDTH, HEIGHT = 620, 240


def waveform_spec(chart: WaveformChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of one period with its ceilings."""
    import altair

    alt: Any = altair  # its helpers carry no types

    x = alt.X("x:Q", title="share of a period", scale=alt.Scale(domain=[0, 1]), axis=alt.Axis(format="~g"))
    rows = [{"x": px, "y": py} for px, py in chart.points]
    reach = 1.18 * max((abs(py) for _, py in chart.points), default=1.0) or 1.0
    y = alt.Y("y:Q", title=chart.unit, scale=alt.Scale(domain=[-reach, reach], nice=False))
    layers = [alt.Chart(alt.Data(values=rows)).mark_line(color=INK, strokeWidth=1.6).encode(x=x, y=y)]
    for edge, word in ((chart.upper, "ceiling"), (chart.lower, "ceiling below")):
        if edge is not None:
            base = alt.Chart(alt.Data(values=[{"y": edge, "words": word}]))
            layers.append(base.mark_rule(color=MARK, strokeDash=[6, 4]).encode(y=y))
            layers.append(
                base.mark_text(align="left", x=4, dy=-6 if word == "ceiling" else 12, fontSize=10, color=INK).encode(
                    y=y, text="words:N"
                )
            )
    return finished(alt, alt.layer(*layers).properties(width=WIDTH, height=HEIGHT), chart, grid=True)


def spectrum_spec(chart: SpectrumChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of a spectrum with labelled harmonics."""
    import altair

    alt: Any = altair  # its helpers carry no types

    ticks = [20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000]
    label = "datum.value < 1000 ? datum.value + ' Hz' : (datum.value / 1000) + ' kHz'"
    axis = alt.Axis(values=ticks, labelExpr=label, labelOverlap=True)
    top = max((hz for hz, _ in chart.points), default=20_000.0)
    x = alt.X("hz:Q", title=None, scale=alt.Scale(type="log", domain=[20, top], nice=False), axis=axis)
    y = alt.Y("level:Q", title="dBFS", scale=alt.Scale(domain=[-140, 6], clamp=True))
    rows = [{"hz": hz, "level": level} for hz, level in chart.points]
    named = [{"hz": hz, "level": level, "words": str(order)} for order, hz, level in chart.harmonics]
    line = alt.Chart(alt.Data(values=rows)).mark_line(color=INK, strokeWidth=1).encode(x=x, y=y)
    words = alt.Chart(alt.Data(values=named)).mark_text(dy=-8, fontSize=11, fontWeight="bold", color=MARK)
    return finished(
        alt,
        alt.layer(line, words.encode(x=x, y=y, text="words:N")).properties(width=WIDTH, height=HEIGHT),
        chart,
        grid=True,
    )


def belief_spec(chart: BeliefChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of the causes' probabilities by entry, each curve labelled at its end."""
    import altair

    alt: Any = altair  # its helpers carry no types

    rows = [
        {"entry": i, "percent": p, "cause": name, "number": k}
        for k, (name, curve) in enumerate(chart.curves)
        for i, p in enumerate(curve)
    ]
    # labels that would overlap are moved apart, the likeliest on top
    last: list[dict[str, Any]] = []
    place = 106.0
    for name, curve in chart.curves:
        place = max(min(place - 7.0, curve[-1]), 7.0 * (len(chart.curves) - len(last) - 1))
        last.append({"entry": len(curve) - 1, "at": place, "words": name})
    x = alt.X("entry:Q", title="entries", axis=alt.Axis(tickMinStep=1, format="d"))
    y = alt.Y("percent:Q", title="believed, %", scale=alt.Scale(domain=[0, 100]))
    dash = alt.StrokeDash("cause:N", sort=None, scale=alt.Scale(range=DASHES), legend=None)
    lines = (
        alt.Chart(alt.Data(values=rows))
        .mark_line(color=INK, strokeWidth=1.6, point={"color": INK, "size": 18})
        .encode(x=x, y=y, strokeDash=dash, detail="cause:N")
    )
    names = (
        alt.Chart(alt.Data(values=last))
        .mark_text(align="left", dx=8, fontSize=10, color=INK)
        .encode(x=x, y=alt.Y("at:Q"), text="words:N")
    )
    return finished(alt, alt.layer(lines, names).properties(width=430, height=HEIGHT), chart, grid=True)
