"""Papers and charts as data and wording; drawing and printing happen elsewhere."""

from gainwright.report.attenuator import attenuator_text
from gainwright.report.corridor import CorridorChart, CorridorMark, corridor_chart, margin_words
from gainwright.report.knee import KneeChart, KneeMark, advice_text, knee_chart, knee_text, meter_caution
from gainwright.report.live import live_json, live_lines
from gainwright.report.noise import noise_text
from gainwright.report.onset import OnsetChart, OnsetPoint, onset_chart, onset_text
from gainwright.report.response import CurvePoint, ResponseChart, response_chart, response_text
from gainwright.report.text import findings_text, levels_text, measurement_text, plan_text, volts

__all__ = [
    "CorridorChart",
    "CorridorMark",
    "CurvePoint",
    "KneeChart",
    "KneeMark",
    "OnsetChart",
    "OnsetPoint",
    "ResponseChart",
    "advice_text",
    "attenuator_text",
    "corridor_chart",
    "findings_text",
    "knee_chart",
    "knee_text",
    "levels_text",
    "live_json",
    "live_lines",
    "margin_words",
    "measurement_text",
    "meter_caution",
    "noise_text",
    "onset_chart",
    "onset_text",
    "plan_text",
    "response_chart",
    "response_text",
    "volts",
]
