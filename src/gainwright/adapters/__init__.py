"""The only place that touches the world: chart rendering, sound devices, cases on disk, what is installed."""

from gainwright.adapters.case_folder import FolderCases, cases_folder
from gainwright.adapters.charts import AltairCharts
from gainwright.adapters.installation import installation
from gainwright.adapters.paper_pdf import TypstPrinter
from gainwright.adapters.sound_input import PortAudioInput

__all__ = ["AltairCharts", "FolderCases", "PortAudioInput", "TypstPrinter", "cases_folder", "installation"]
