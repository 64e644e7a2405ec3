"""Papers and charts as data and wording; drawing and printing happen elsewhere."""

from gainwright.report.corridor import CorridorChart, CorridorMark, corridor_chart, margin_words
from gainwright.report.text import findings_text, levels_text, measurement_text, plan_text, volts

__all__ = [
    "CorridorChart",
    "CorridorMark",
    "corridor_chart",
    "findings_text",
    "levels_text",
    "margin_words",
    "measurement_text",
    "plan_text",
    "volts",
]
