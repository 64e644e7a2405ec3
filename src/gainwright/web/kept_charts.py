"""Charts drawn once: a preview, its file and the same chart on another paper share a drawing."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gainwright.app.ports import Charts
    from gainwright.report.charts import Chart
    from gainwright.report.languages import Language
    from gainwright.web.models import Models


@dataclass(frozen=True, slots=True)
class KeptCharts:
    """A renderer of charts that keeps what it has drawn."""

    charts: Charts
    models: Models

    def render(self, chart: Chart, suffix: str, into: Language | None = None) -> bytes:
        """Return the bytes of a picture, drawn unless the same chart was before."""
        code = "" if into is None else into.code
        known = hashlib.sha256(f"{suffix} {code} {type(chart).__name__} {chart!r}".encode()).hexdigest()
        return self.models.kept("chart", known, lambda: self.charts.render(chart, suffix, into))
