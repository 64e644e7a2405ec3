"""Papers and charts as data and wording; drawing and printing happen elsewhere."""

from gainwright.report.allowance import AllowanceChart, allowance_chart
from gainwright.report.attenuator import attenuator_text
from gainwright.report.belief_chart import BeliefChart, belief_chart
from gainwright.report.cases import CaseCounts, CasesChart, CauseCount, WrongBelief, cases_chart, cases_text
from gainwright.report.chain_drawing import Box, ChainDrawing, Line, chain_drawing, places_to_check, suspected_places
from gainwright.report.corridor import CorridorChart, CorridorMark, corridor_chart, margin_text
from gainwright.report.diagnosis import diagnosis_text, next_test_lines
from gainwright.report.handover import Measured, handover, hearing_rows
from gainwright.report.knee import KneeChart, KneeMark, advice_text, knee_chart, knee_text, meter_caution
from gainwright.report.languages import LANGUAGES, Language, language, translate_chart
from gainwright.report.live import live_lines, pictures_json
from gainwright.report.music import (
    MusicChart,
    choice_text,
    crest_text,
    duration_text,
    music_blocks,
    music_chart,
    music_table,
    music_text,
)
from gainwright.report.noise import noise_text
from gainwright.report.onset import OnsetChart, OnsetPoint, onset_chart, onset_text
from gainwright.report.paper import Paper, PaperKind
from gainwright.report.paper_content import paper_content, paper_csv, paper_html
from gainwright.report.recording_charts import SpectrumChart, WaveformChart, spectrum_chart, waveform_chart
from gainwright.report.response import CurvePoint, ResponseChart, response_chart, response_text
from gainwright.report.setup_sheet import setup_sheet
from gainwright.report.support_papers import case_paper, customer_paper
from gainwright.report.text import findings_text, learned_text, levels_text, measurement_text, plan_text, volts

Chart = (
    CorridorChart
    | KneeChart
    | OnsetChart
    | ResponseChart
    | CasesChart
    | ChainDrawing
    | WaveformChart
    | SpectrumChart
    | BeliefChart
    | AllowanceChart
    | MusicChart
)
"""Everything that can be drawn."""

__all__ = [
    "LANGUAGES",
    "AllowanceChart",
    "BeliefChart",
    "Box",
    "CaseCounts",
    "CasesChart",
    "CauseCount",
    "ChainDrawing",
    "Chart",
    "CorridorChart",
    "CorridorMark",
    "CurvePoint",
    "KneeChart",
    "KneeMark",
    "Language",
    "Line",
    "Measured",
    "MusicChart",
    "OnsetChart",
    "OnsetPoint",
    "Paper",
    "PaperKind",
    "ResponseChart",
    "SpectrumChart",
    "WaveformChart",
    "WrongBelief",
    "advice_text",
    "allowance_chart",
    "attenuator_text",
    "belief_chart",
    "case_paper",
    "cases_chart",
    "cases_text",
    "chain_drawing",
    "choice_text",
    "corridor_chart",
    "crest_text",
    "customer_paper",
    "diagnosis_text",
    "duration_text",
    "findings_text",
    "handover",
    "hearing_rows",
    "knee_chart",
    "knee_text",
    "language",
    "learned_text",
    "levels_text",
    "live_lines",
    "margin_text",
    "measurement_text",
    "meter_caution",
    "music_blocks",
    "music_chart",
    "music_table",
    "music_text",
    "next_test_lines",
    "noise_text",
    "onset_chart",
    "onset_text",
    "paper_content",
    "paper_csv",
    "paper_html",
    "pictures_json",
    "places_to_check",
    "plan_text",
    "response_chart",
    "response_text",
    "setup_sheet",
    "spectrum_chart",
    "suspected_places",
    "translate_chart",
    "volts",
    "waveform_chart",
]
