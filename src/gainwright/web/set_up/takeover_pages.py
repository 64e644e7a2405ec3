"""The page that takes over into the job what a run set: old and new beside each other, one tap, and undo."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import Response

from gainwright.app.set_up.found_settings import take_over
from gainwright.texts import sentence
from gainwright.web.rendering import done_or_shown, go_to, page
from gainwright.web.set_up.evaluation import current_run, run_changes
from gainwright.web.set_up.wording import HOW_FOUND, setting_words
from gainwright.web.site import Actor, CurrentJob, CurrentSite

if TYPE_CHECKING:
    from gainwright.app.store import StoredJob
    from gainwright.errors import GainwrightError
    from gainwright.web.site import Site

router = APIRouter(include_in_schema=False)


@router.get("/jobs/{job}/takeover")
def show(request: Request, site: CurrentSite, job: CurrentJob, taken: int = 0) -> Response:
    """Show what the run set differently from the job."""
    return _show(request, site, job, taken=taken)


def _show(
    request: Request, site: Site, stored: StoredJob, *, taken: int = 0, error: GainwrightError | None = None
) -> Response:
    run = current_run(site, stored)
    return page(
        request,
        "takeover.html",
        job=stored,
        here="setup",
        run=run,
        changes=run_changes(site, stored, run),
        still_open=[s for s in run.steps if s.step.phase == "restore" and s.state == "skipped"],
        taken=taken == stored.revision,
        setting_words=setting_words,
        begun=sentence,
        how_found=HOW_FOUND,
        error=error,
    )


@router.post("/jobs/{job}/takeover")
def take(
    request: Request, site: CurrentSite, actor: Actor, job: CurrentJob, basis: Annotated[int, Form(ge=0)]
) -> Response:
    """Write what the run set into the job as a new version."""

    def do() -> str:
        changes = run_changes(site, job, current_run(site, job))
        stored = take_over(site.store, job, site.models.read(job.text), changes, basis=basis, by=actor)
        return f"/jobs/{job.id}/takeover?taken={stored.revision}"

    return done_or_shown(do, lambda error: _show(request, site, site.store.jobs.get(job.id), error=error))


@router.post("/jobs/{job}/takeover/undo")
def undo(site: CurrentSite, job: str, seen: Annotated[int, Form()]) -> Response:
    """Go back to the version before the settings were taken over."""
    site.store.jobs.undo(job, seen=seen)
    return go_to(f"/jobs/{job}/takeover")
