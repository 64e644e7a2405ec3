"""Everything that can be drawn, as one type."""

from gainwright.report.allowance import AllowanceChart
from gainwright.report.belief_chart import BeliefChart
from gainwright.report.cases import CasesChart
from gainwright.report.chain_drawing import ChainDrawing
from gainwright.report.corridor import CorridorChart
from gainwright.report.knee import KneeChart
from gainwright.report.music_chart import MusicChart
from gainwright.report.onset import OnsetChart
from gainwright.report.recording_charts import SpectrumChart, WaveformChart
from gainwright.report.response import ResponseChart
from gainwright.report.supply_drawing import SupplyDrawing

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
    | SupplyDrawing
)
