"""Notes and photos at the steps of the set-up run: add, show, delete."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request, UploadFile
from starlette.responses import Response

from gainwright.app.set_up.notes import add_note, remove_note
from gainwright.app.set_up.run import LONGEST_KEY
from gainwright.web.rendering import done_or_shown, go_to
from gainwright.web.set_up.evaluation import current_run
from gainwright.web.set_up.pages import step_page
from gainwright.web.site import Actor, CurrentJob, CurrentSite

router = APIRouter(include_in_schema=False)


@router.post("/jobs/{job}/setup/{step}/notes")
def add(
    request: Request,
    site: CurrentSite,
    actor: Actor,
    job: CurrentJob,
    step: str,
    photo: UploadFile | None = None,
    text: Annotated[str, Form(max_length=5000)] = "",
    key: Annotated[str, Form(max_length=LONGEST_KEY)] = "",
) -> Response:
    """Add a note to a step, with a photo or without; what is wrong with it is shown with the text as it was typed."""

    def do() -> str:
        current_run(site, job).of(step)
        content = photo.file.read() if photo is not None else b""
        add_note(site.store, job.id, step=step, text=text, by=actor, photo=content, key=key)
        return f"/jobs/{job.id}/setup/{step}#notes"

    return done_or_shown(do, lambda error: step_page(request, site, job, step, note_error=error, note=text))


@router.post("/jobs/{job}/setup/{step}/notes/{note}/remove")
def remove(site: CurrentSite, job: CurrentJob, step: str, note: str) -> Response:
    """Delete a note with its photo."""
    remove_note(site.store, job.id, note)
    return go_to(f"/jobs/{job.id}/setup/{step}#notes")
