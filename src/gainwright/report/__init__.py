"""Papers and charts as data and wording; drawing and printing happen elsewhere."""

from gainwright.report.attenuator import attenuator_text
from gainwright.report.cases import CaseCounts, CasesChart, CauseCount, cases_chart, cases_text
from gainwright.report.chain_drawing import Box, ChainDrawing, Line, chain_drawing, suspicion, where_to_check
from gainwright.report.corridor import CorridorChart, CorridorMark, corridor_chart, margin_words
from gainwright.report.diagnosis import (
    CustomerPage,
    CustomerStep,
    customer_html,
    customer_page,
    diagnosis_text,
    next_lines,
)
from gainwright.report.knee import KneeChart, KneeMark, advice_text, knee_chart, knee_text, meter_caution
from gainwright.report.live import live_json, live_lines
from gainwright.report.noise import noise_text
from gainwright.report.onset import OnsetChart, OnsetPoint, onset_chart, onset_text
from gainwright.report.response import CurvePoint, ResponseChart, response_chart, response_text
from gainwright.report.text import findings_text, learned_text, levels_text, measurement_text, plan_text, volts

Chart = CorridorChart | KneeChart | OnsetChart | ResponseChart | CasesChart | ChainDrawing
"""Everything that can be drawn."""

__all__ = [
    "Box",
    "CaseCounts",
    "CasesChart",
    "CauseCount",
    "ChainDrawing",
    "Chart",
    "CorridorChart",
    "CorridorMark",
    "CurvePoint",
    "CustomerPage",
    "CustomerStep",
    "KneeChart",
    "KneeMark",
    "Line",
    "OnsetChart",
    "OnsetPoint",
    "ResponseChart",
    "advice_text",
    "attenuator_text",
    "cases_chart",
    "cases_text",
    "chain_drawing",
    "corridor_chart",
    "customer_html",
    "customer_page",
    "diagnosis_text",
    "findings_text",
    "knee_chart",
    "knee_text",
    "learned_text",
    "levels_text",
    "live_json",
    "live_lines",
    "margin_words",
    "measurement_text",
    "meter_caution",
    "next_lines",
    "noise_text",
    "onset_chart",
    "onset_text",
    "plan_text",
    "response_chart",
    "response_text",
    "suspicion",
    "volts",
    "where_to_check",
]
