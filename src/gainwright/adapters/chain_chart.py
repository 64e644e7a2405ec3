"""The chain drawn with Altair: stages as boxes from left to right, leads between them, suspected places in a heavy frame."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.adapters.chart_style import INK, MARK, finished

if TYPE_CHECKING:
    from gainwright.report import ChainDrawing

COLUMN, ROW, WIDE, HIGH = 1.0, 1.0, 0.66, 0.5
PIXELS_COLUMN, PIXELS_ROW = 168, 92


def chain_spec(chart: ChainDrawing) -> dict[str, Any]:
    """Return the Vega-Lite specification of a chain."""
    import altair

    alt: Any = altair  # its helpers carry no types

    at = {b.name: (b.column * COLUMN, b.row * ROW) for b in chart.boxes}
    columns = max(x for x, _ in at.values()) + 1
    rows = max(y for _, y in at.values()) + 1
    x_scale = alt.Scale(domain=[-0.45, columns - 0.45], nice=False, zero=False)
    y_scale = alt.Scale(domain=[rows - 0.35, -0.65], nice=False, zero=False)

    def x(field: str) -> Any:
        return alt.X(f"{field}:Q", axis=None, scale=x_scale)

    def y(field: str) -> Any:
        return alt.Y(f"{field}:Q", axis=None, scale=y_scale)

    leads, boxes = _leads(chart, at), _boxes(chart, at)
    width = alt.condition("datum.marked", alt.value(3.2), alt.value(1.1))
    ink = alt.condition("datum.marked", alt.value(MARK), alt.value(INK))
    wired, stages = alt.Chart(alt.Data(values=leads)), alt.Chart(alt.Data(values=boxes))
    layers = [
        wired.mark_rule().encode(x=x("x"), y=y("y"), x2="x2:Q", y2="y2:Q", strokeWidth=width, color=ink),
        stages.mark_rect(fill="white").encode(x=x("x"), y=y("y"), x2="x2:Q", y2="y2:Q", strokeWidth=width, stroke=ink),
        stages.mark_text(fontSize=12, fontWeight="bold", dy=-6, limit=104, color=INK).encode(
            x=x("mx"), y=y("my"), text="name:N"
        ),
        stages.mark_text(fontSize=10, dy=9, limit=104, color=INK).encode(x=x("mx"), y=y("my"), text="kind:N"),
        stages.mark_text(fontSize=10, dy=11, limit=PIXELS_COLUMN - 8, color=INK).encode(
            x=x("mx"), y=y("under"), text="words:N"
        ),
        wired.mark_text(fontSize=10, dy=-9, limit=PIXELS_COLUMN, color=INK).encode(
            x=x("mx"), y=y("my"), text="words:N"
        ),
    ]
    drawing = alt.layer(*layers).properties(width=PIXELS_COLUMN * columns, height=PIXELS_ROW * rows)
    return finished(alt, drawing, chart, grid=False)


def _leads(chart: ChainDrawing, at: dict[str, tuple[float, float]]) -> list[dict[str, Any]]:
    rows = []
    for line in chart.lines:
        (x1, y1), (x2, y2) = at[line.source], at[line.target]
        left, right = x1 + WIDE / 2, x2 - WIDE / 2
        middle = {"mx": (left + right) / 2, "my": (y1 + y2) / 2}
        rows.append(
            {"x": left, "y": y1, "x2": right, "y2": y2, **middle, "words": line.words, "marked": bool(line.words)}
        )
    return rows


def _boxes(chart: ChainDrawing, at: dict[str, tuple[float, float]]) -> list[dict[str, Any]]:
    rows = []
    for b in chart.boxes:
        x, y = at[b.name]
        frame = {"x": x - WIDE / 2, "x2": x + WIDE / 2, "y": y - HIGH / 2, "y2": y + HIGH / 2, "under": y + HIGH / 2}
        rows.append(
            {**frame, "mx": x, "my": y, "name": b.name, "kind": b.kind, "words": b.words, "marked": bool(b.words)}
        )
    return rows
