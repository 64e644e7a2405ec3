"""Waveform, spectrum and probabilities of causes, drawn with Altair."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_parts import channel, layered, mark
from gainwright.adapters.chart_style import DASHES, INK, MARK, finished

if TYPE_CHECKING:
    from gainwright.report.belief_chart import BeliefChart
    from gainwright.report.recording_charts import SpectrumChart, WaveformChart

WIDTH, HEIGHT = 620, 240


def waveform_spec(chart: WaveformChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of one period with its ceilings."""
    x = channel("x:Q", title="share of a period", scale={"domain": [0, 1]}, axis={"format": "~g"})
    rows = [{"x": px, "y": py} for px, py in chart.points]
    reach = 1.18 * max((abs(py) for _, py in chart.points), default=1.0) or 1.0
    y = channel("y:Q", title=chart.unit, scale={"domain": [-reach, reach], "nice": False})
    layers = [mark("line", rows, {"x": x, "y": y}, color=INK, strokeWidth=1.6)]
    for edge, word in ((chart.upper, "ceiling"), (chart.lower, "ceiling below")):
        if edge is not None:
            ceiling = [{"y": edge, "words": word}]
            layers.append(mark("rule", ceiling, {"y": y}, color=MARK, strokeDash=[6, 4]))
            text = {"y": y, "text": channel("words:N")}
            place: dict[str, Any] = {"align": "left", "x": 4, "dy": -6 if word == "ceiling" else 12}
            layers.append(mark("text", ceiling, text, fontSize=10, color=INK, **place))
    return finished(layered(layers, width=WIDTH, height=HEIGHT), chart, grid=True)


def spectrum_spec(chart: SpectrumChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of a spectrum with labelled harmonics."""
    ticks = [20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000]
    label = "datum.value < 1000 ? datum.value + ' Hz' : (datum.value / 1000) + ' kHz'"
    axis = {"values": ticks, "labelExpr": label, "labelOverlap": True}
    top = max((hz for hz, _ in chart.points), default=20_000.0)
    x = channel("hz:Q", title=None, scale={"type": "log", "domain": [20, top], "nice": False}, axis=axis)
    y = channel("level:Q", title="dBFS", scale={"domain": [-140, 6], "clamp": True})
    rows = [{"hz": hz, "level": level} for hz, level in chart.points]
    named = [{"hz": hz, "level": level, "words": str(order)} for order, hz, level in chart.harmonics]
    line = mark("line", rows, {"x": x, "y": y}, color=INK, strokeWidth=1)
    text = {"x": x, "y": y, "text": channel("words:N")}
    words = mark("text", named, text, dy=-8, fontSize=11, fontWeight="bold", color=MARK)
    return finished(layered([line, words], width=WIDTH, height=HEIGHT), chart, grid=True)


def belief_spec(chart: BeliefChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of the causes' probabilities by entry, each curve labelled at its end."""
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
    x = channel("entry:Q", title="entries", axis={"tickMinStep": 1, "format": "d"})
    y = channel("percent:Q", title="believed, %", scale={"domain": [0, 100]})
    dash = channel("cause:N", sort=None, scale={"range": DASHES}, legend=None)
    curves = {"x": x, "y": y, "strokeDash": dash, "detail": channel("cause:N")}
    lines = mark("line", rows, curves, color=INK, strokeWidth=1.6, point={"color": INK, "size": 18})
    text = {"x": x, "y": channel("at:Q"), "text": channel("words:N")}
    names = mark("text", last, text, align="left", dx=8, fontSize=10, color=INK)
    return finished(layered([lines, names], width=430, height=HEIGHT), chart, grid=True)
