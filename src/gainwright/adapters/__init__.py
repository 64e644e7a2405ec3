"""The only place that touches the world: chart rendering and what is installed, for now."""

from gainwright.adapters.charts import AltairCharts
from gainwright.adapters.installation import installation

__all__ = ["AltairCharts", "installation"]
