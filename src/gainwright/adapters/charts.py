"""Charts as SVG and PNG, without browser or network: drawn by Vega-Lite; the chain has its own layout."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_parts import channel, end, layered, mark, stacked
from gainwright.adapters.chart_style import BAND, INK, MARK, finished
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.report.charts import Chart
    from gainwright.report.corridor import CorridorChart
    from gainwright.report.languages import Language


class VegaCharts:
    """Renders chart data to files."""

    def render(self, chart: Chart, suffix: str, into: Language | None = None) -> bytes:
        """Return the bytes of an SVG or PNG picture, with texts in a language, English by default.

        Raises
        ------
        CallError : another suffix.
        """
        import vl_convert as vlc

        from gainwright.adapters.chain_svg import chain_svg
        from gainwright.adapters.supply_svg import supply_svg
        from gainwright.report.chain_drawing import ChainDrawing
        from gainwright.report.supply_drawing import SupplyDrawing

        if isinstance(chart, ChainDrawing):
            svg = chain_svg(chart, into)
        elif isinstance(chart, SupplyDrawing):
            svg = supply_svg(chart, into)
        else:
            svg = vlc.vegalite_to_svg(_translated(chart, into))
        if suffix == ".svg":
            return svg.encode()
        if suffix == ".png":
            return bytes(vlc.svg_to_png(svg, scale=2))
        raise CallError(
            f"a chart can't be written as {suffix or 'a file without a suffix'}",
            code="bad_suffix",
            rule="charts are .svg or .png",
            remedy="name the file chart.svg",
        )


def _translated(chart: Chart, into: Language | None) -> dict[str, Any]:
    from gainwright.report.languages import translate_chart

    spec = _spec(chart)
    return spec if into is None else translate_chart(spec, into)


def _spec(chart: Chart) -> dict[str, Any]:
    from gainwright.adapters.allowance_chart import allowance_spec
    from gainwright.adapters.cases_chart import cases_spec
    from gainwright.adapters.knee_chart import knee_spec
    from gainwright.adapters.music_chart import music_spec
    from gainwright.adapters.onset_chart import onset_spec
    from gainwright.adapters.recording_charts import belief_spec, spectrum_spec, waveform_spec
    from gainwright.adapters.response_chart import response_spec
    from gainwright.report.allowance import AllowanceChart
    from gainwright.report.belief_chart import BeliefChart
    from gainwright.report.cases import CasesChart
    from gainwright.report.corridor import CorridorChart
    from gainwright.report.knee import KneeChart
    from gainwright.report.music_chart import MusicChart
    from gainwright.report.onset import OnsetChart
    from gainwright.report.recording_charts import SpectrumChart, WaveformChart
    from gainwright.report.response import ResponseChart

    drawers: dict[type, Callable[[Any], dict[str, Any]]] = {
        AllowanceChart: allowance_spec,
        CorridorChart: corridor_spec,
        KneeChart: knee_spec,
        OnsetChart: onset_spec,
        ResponseChart: response_spec,
        CasesChart: cases_spec,
        WaveformChart: waveform_spec,
        SpectrumChart: spectrum_spec,
        BeliefChart: belief_spec,
        MusicChart: music_spec,
    }
    return drawers[type(chart)](chart)


def _rows(chart: CorridorChart) -> list[dict[str, Any]]:
    rows = []
    for shown in chart.marks:
        row = {name: getattr(shown, name) for name in shown.__dataclass_fields__}
        row = {k: None if isinstance(v, float) and not math.isfinite(v) else v for k, v in row.items()}
        row["words"] = say("tightest: {margin}", margin=shown.margin) if shown.tightest else shown.margin
        row["order"] = f"{shown.position:02d} {shown.label}"
        rows.append(row)
    return rows


def corridor_spec(chart: CorridorChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of a corridor, one panel per path."""
    rows = _rows(chart)
    paths = list(dict.fromkeys(row["path"] for row in rows))
    panels = [_panel([row for row in rows if row["path"] == path], path) for path in paths]
    return finished(stacked(panels, spacing=18), chart, grid=False, offset=14)


def _panel(rows: list[dict[str, Any]], path: str) -> dict[str, Any]:
    label = {"labelExpr": "substring(datum.value, 3)", "labelAngle": 0, "labelLimit": 150}
    x = channel("order:N", title=None, sort=None, axis=label)
    lowest = min((row["floor_dbv"] for row in rows if row["floor_dbv"] is not None), default=-100.0)
    tops = [20.0] + [row[k] for row in rows for k in ("ceiling_dbv", "level_dbv", "high_dbv") if row[k] is not None]
    bottom, top = lowest - 12, max(tops) + 12
    scale = {"domain": [bottom, top], "nice": False, "clamp": True}
    ticks = [v for v in range(-160, 81, 20) if bottom <= v <= top]
    axis = {"values": ticks, "labelExpr": _VOLT_LABELS, "title": "V rms"}

    def at(field: str, to: str = "") -> dict[str, Any]:
        other = {"y2": end(to)} if to else {}
        return {"x": x, "y": channel(f"{field}:Q", scale=scale, axis=axis), **other}

    room = at("floor_dbv", "ceiling_dbv")
    tightest = [{"filter": "datum.tightest"}]
    above = {"calculate": _HIGHEST, "as": "top"}
    words = {"x": x, "y": channel("top:Q", scale=scale), "text": channel("words:N")}
    layers = [
        mark("bar", rows, room, color=BAND, size=58),
        mark("bar", rows, room, transform=tightest, fillOpacity=0, stroke=MARK, strokeWidth=2.2, size=58),
        mark("tick", rows, at("ceiling_dbv"), color=INK, thickness=3, size=66),
        mark("bar", rows, at("low_dbv", "high_dbv"), color="#7f8c99", size=14),
        mark("line", rows, at("level_dbv"), color=INK, strokeWidth=1.2),
        mark("tick", rows, at("level_dbv"), color=INK, thickness=2, size=40),
        mark("text", rows, words, transform=[above], dy=-9, fontSize=10, color=INK, baseline="bottom"),
    ]
    title = {"text": path, "anchor": "start", "fontSize": 12}
    return layered(layers, width=136 * len(rows), height=190, title=title)


_HIGHEST = "max(datum.ceiling_dbv == null ? -999 : datum.ceiling_dbv, datum.high_dbv == null ? -999 : datum.high_dbv)"
_VOLT_LABELS = (
    "datum.value < -60 ? format(pow(10, datum.value / 20) * 1e6, '~r') + ' µV' : "
    "datum.value < 0 ? format(pow(10, datum.value / 20) * 1e3, '~r') + ' mV' : "
    "format(pow(10, datum.value / 20), '~r') + ' V'"
)
