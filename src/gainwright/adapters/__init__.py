"""The only place that touches the world: chart rendering, sound devices, what is installed."""

from gainwright.adapters.charts import AltairCharts
from gainwright.adapters.installation import installation
from gainwright.adapters.sound_input import PortAudioInput

__all__ = ["AltairCharts", "PortAudioInput", "installation"]
