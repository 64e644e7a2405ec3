"""Responses drawn with Altair: level against frequency, one line a channel, told apart by dash and name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from gainwright.report import ResponseChart

INK = "#1c1c1c"
_DASHES = [[1, 0], [6, 3], [2, 2], [8, 3, 2, 3], [1, 4], [10, 4]]
_FONT = "DejaVu Sans, Helvetica, Arial, sans-serif"


def response_spec(chart: ResponseChart) -> dict[str, Any]:
    """Return the Vega-Lite specification of some responses."""
    import altair

    alt: Any = altair  # its helpers carry no types
    rows = [{"name": p.name, "frequency_hz": p.frequency_hz, "level_db": p.level_db} for p in chart.points]
    ends = list({row["name"]: row for row in rows}.values())  # the last of each, points rise in frequency
    names = [row["name"] for row in ends]
    axis = alt.Axis(values=[20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000], format="~s")
    x = alt.X("frequency_hz:Q", title="Hz", scale=alt.Scale(type="log", nice=False), axis=axis)
    y = alt.Y("level_db:Q", title="dB", scale=alt.Scale(zero=False, padding=10))
    dash = alt.StrokeDash("name:N", scale=alt.Scale(domain=names, range=_DASHES[: len(names)]), legend=None)
    line = alt.Chart(alt.Data(values=rows)).mark_line(color=INK, strokeWidth=1.4).encode(x=x, y=y, strokeDash=dash)
    label = (
        alt.Chart(alt.Data(values=ends))
        .mark_text(align="right", dx=-4, dy=-8, fontSize=11, color=INK)
        .encode(x=x, y=y, text="name:N")
    )
    whole = alt.layer(line, label).properties(
        width=560,
        height=300,
        title=alt.TitleParams(
            text=chart.title, subtitle=chart.subtitle, anchor="start", fontSize=15, subtitleFontSize=11, offset=12
        ),
        description=chart.description,
    )
    whole = whole.configure(font=_FONT, background="white").configure_view(stroke=None)
    spec: dict[str, Any] = whole.configure_axis(
        gridColor="#e6e6e6", domainColor=INK, tickColor=INK, labelColor=INK
    ).to_dict()
    return spec
