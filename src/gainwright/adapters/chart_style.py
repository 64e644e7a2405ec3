"""The common style of charts: colours, type, title and frame."""

from __future__ import annotations

from typing import Any

INK, MARK, BAND = "#1c1c1c", "#b3541e", "#d9dee3"
GRID = "#e6e6e6"
DASHES = [[1, 0], [6, 3], [2, 2], [8, 3, 2, 3], [1, 4], [10, 4]]
"""Dash patterns that distinguish curves without colour."""
FONT = "DejaVu Sans, Helvetica, Arial, sans-serif"


def finished(alt: Any, drawing: Any, chart: Any, *, grid: bool, offset: int = 12) -> dict[str, Any]:
    """Return the specification of a drawing with the title, subtitle and description of its chart."""
    whole = drawing.properties(
        title=alt.TitleParams(
            text=chart.title, subtitle=chart.subtitle, anchor="start", fontSize=15, subtitleFontSize=11, offset=offset
        ),
        description=chart.description,
    )
    whole = whole.configure(font=FONT, background="white").configure_view(stroke=None)
    lines = {"gridColor": GRID} if grid else {"grid": False}
    spec: dict[str, Any] = whole.configure_axis(**lines, domainColor=INK, tickColor=INK, labelColor=INK).to_dict()
    return spec
