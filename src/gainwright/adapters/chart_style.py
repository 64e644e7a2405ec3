"""The common style of charts: colours, type, title and frame."""

from __future__ import annotations

from typing import Any

INK, MARK, BAND = "#1c1c1c", "#b3541e", "#d9dee3"
GRID = "#e6e6e6"
DASHES = [[1, 0], [6, 3], [2, 2], [8, 3, 2, 3], [1, 4], [10, 4]]
"""Dash patterns that distinguish curves without colour."""
FONT = "DejaVu Sans, Helvetica, Arial, sans-serif"


def finished(drawing: dict[str, Any], chart: Any, *, grid: bool, offset: int = 12) -> dict[str, Any]:
    """Return the specification of a drawing with the title, subtitle and description of its chart."""
    title = {"text": chart.title, "subtitle": chart.subtitle, "anchor": "start", "fontSize": 15, "subtitleFontSize": 11}
    lines = {"gridColor": GRID} if grid else {"grid": False}
    axis = {**lines, "domainColor": INK, "tickColor": INK, "labelColor": INK}
    return {
        "$schema": "v6",
        **drawing,
        "title": {**title, "offset": offset},
        "description": chart.description,
        "config": {"font": FONT, "background": "white", "view": {"stroke": None}, "axis": axis},
    }
