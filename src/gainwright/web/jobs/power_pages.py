"""The page of a job's power and heat: the supply drawn, findings with their remedies, speakers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from gainwright.app.jobs import chain_edits
from gainwright.errors import CallError, GainwrightError, JobError
from gainwright.texts import say
from gainwright.web.form_fields import Sent, seen_of
from gainwright.web.jobs import chain_view as view
from gainwright.web.jobs.power_evaluation import power_of
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.site import Actor, CurrentJob, CurrentSite

if TYPE_CHECKING:
    from gainwright.app.store import StoredJob
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)


@router.get("/jobs/{job}/power")
def power(request: Request, site: CurrentSite, job: CurrentJob) -> Response:
    """Show what the music does to cables, fuses, battery and speakers."""
    try:
        site.models.read(job.text)
    except JobError:  # only begun, or written by hand with a mistake: the chain's own page says where
        return go_to(f"/jobs/{job.id}/chain")
    return show_power(request, site, job)


def show_power(request: Request, site: Site, stored: StoredJob, *, error: GainwrightError | None = None) -> Response:
    """Show the page, and an error."""
    from gainwright.model import Powered, unit_of
    from gainwright.report.power import assumed_words, finding_words, speaker_table, supply_sentences
    from gainwright.report.supply_drawing import supply_drawing

    read = site.models.read(stored.text).job
    result = power_of(site, stored)
    columns, rows = speaker_table(result)
    units = dict.fromkeys(unit_of(read, name) for name, stage in read.stages.items() if isinstance(stage, Powered))
    fed = {unit for cable in result.cables for unit in cable.feeds}
    shown: dict[str, Any] = {
        "result": result,
        "drawing": supply_drawing(result, read),
        "sentences": supply_sentences(result),
        "findings": [(f, finding_words(f), dict(f.remedy_sets)) for f in result.findings],
        "columns": columns,
        "rows": rows,
        "assumed": assumed_words(result),
        "cables": list(read.supply),
        "unfed": [unit for unit in units if unit not in fed],
        "error": view.without_file_place(error, stored.text),
    }
    return page(request, "power.html", job=stored, here="chain", **shown)


@router.post("/jobs/{job}/power/remedy")
def carry_out(request: Request, site: CurrentSite, actor: Actor, job: str, given: Sent) -> Response:
    """Write the remedy of a finding into the job."""

    def do() -> str:
        stored = site.store.jobs.get(job)
        sets = next(
            (f.remedy_sets for f in power_of(site, stored).findings if f"{f.code} {f.where}" == given.get("finding")),
            {},
        )
        if not sets:
            raise CallError(
                say("this finding is no longer there"),
                code="no_such_finding",
                remedy=say("look at the page as it is now"),
            )
        chain_edits.change_job(
            site.store, job, lambda text: chain_edits.fill_in_fields(text, sets), seen=seen_of(given), by=actor
        )
        return f"/jobs/{job}/power"

    return done_or_shown(do, lambda error: show_power(request, site, site.store.jobs.get(job), error=error))
