"""Charts of cases, and the customer's page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.responses import Response

from gainwright.app.clock import today
from gainwright.web import diagnoses
from gainwright.web.diagnoses import dialogue_of

if TYPE_CHECKING:
    from gainwright.app.store import StoredCase
    from gainwright.report.charts import Chart
    from gainwright.web.site import Site


def _drawn(site: Site, chart: Chart) -> Response:
    return Response(site.world.charts.render(chart, ".svg"), media_type="image/svg+xml")


def belief(site: Site, case: StoredCase) -> Response:
    """Draw the probabilities of a case after each entry."""
    from gainwright.report.belief_chart import belief_chart

    dialogue = dialogue_of(site, case.case)
    entries, _ = dialogue.read()
    return _drawn(site, belief_chart(dialogue.diagnoser, entries, title="How the probabilities changed"))


def tally(site: Site) -> Response:
    """Draw the shop's closed cases by cause."""
    from gainwright.report.cases import cases_chart

    return _drawn(site, cases_chart(diagnoses.tally(site)))


def customer(site: Site, case: StoredCase, suffix: str, *, code: str) -> Response:
    """Return a case's page for the customer: HTML to be viewed, or PDF for download."""
    from gainwright.app.papers.job_papers import MEDIA_TYPES
    from gainwright.app.papers.papers import paper_bytes
    from gainwright.report.support_papers import customer_paper
    from gainwright.web.content_policy import frame_policy
    from gainwright.web.diagnoses import diagnosis_of
    from gainwright.web.kept_charts import KeptCharts
    from gainwright.web.work_api import attachment

    dialogue = dialogue_of(site, case.case)
    loud = site.models.plan(case.case.job).full_scale
    paper = customer_paper(dialogue.diagnoser.job, diagnosis_of(site.models, dialogue), date=today(), full_scale=loud)
    charts = KeptCharts(site.world.charts, site.models)
    content = paper_bytes(paper, suffix, charts=charts, printer=site.world.printer, code=code)
    if suffix == ".html":
        return Response(content, media_type=MEDIA_TYPES[suffix], headers={"content-security-policy": frame_policy()})
    return attachment(content, name=f"{case.name}-customer{suffix}", media_type=MEDIA_TYPES[suffix])
