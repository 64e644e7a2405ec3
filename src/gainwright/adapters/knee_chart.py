"""The knee drawn with Altair: readings, the fitted curve, the ceiling, the onset of clipping."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_parts import channel, end, layered, mark
from gainwright.adapters.chart_style import BAND, INK, MARK, finished

if TYPE_CHECKING:
    from gainwright.report.knee import KneeChart


def knee_spec(chart: KneeChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of a knee."""
    axis = {"tickMinStep": 1, "format": "~g"}
    x = channel("step:Q", title="step", axis=axis, scale={"zero": False, "nice": False, "padding": 12})
    y = channel("v_rms:Q", title="V rms", scale={"type": "log", "nice": False, "padding": 14})
    words = channel("words:N")
    layers = []
    place: dict[str, Any]
    if chart.onset is not None:
        span = [{"low": chart.onset.low, "high": chart.onset.high, "at": chart.onset.value, "words": "clipping begins"}]
        low = channel("low:Q")
        layers.append(mark("rect", span, {"x": low, "x2": end("high")}, color=BAND))
        place = {"align": "right", "baseline": "bottom", "dx": -6, "y": "height", "dy": -6}
        layers.append(mark("text", span, {"x": low, "text": words}, fontSize=11, color=INK, **place))
    if chart.ceiling is not None:
        rule = [{"v_rms": chart.ceiling.value, "words": "largest clean sine"}]
        layers.append(mark("rule", rule, {"y": y}, color=INK, strokeDash=[6, 4]))
        place = {"align": "left", "baseline": "bottom", "dx": 4, "dy": -4, "x": 0}
        layers.append(mark("text", rule, {"y": y, "text": words}, fontSize=11, color=INK, **place))
    curve = [{"step": s, "v_rms": v} for s, v in chart.curve]
    at = {"x": x, "y": y}
    if curve:
        layers.append(mark("line", curve, at, color=INK, strokeWidth=1.2))
    sound = [{"step": m.step, "v_rms": m.v_rms} for m in chart.marks if not m.doubtful]
    doubtful = [{"step": m.step, "v_rms": m.v_rms} for m in chart.marks if m.doubtful]
    layers.append(mark("point", sound, at, color=INK, filled=True, size=46))
    layers.append(mark("point", doubtful, at, color=MARK, shape="cross", filled=True, size=110))
    return finished(layered(layers, width=520, height=320), chart, grid=False)
