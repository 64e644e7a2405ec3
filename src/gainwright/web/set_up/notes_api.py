"""Notes and photos of the steps of a run over HTTP."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, UploadFile
from pydantic import BaseModel
from starlette.responses import Response

from gainwright.app.set_up.notes import LONGEST_NOTE, add_note, note_of, remove_note
from gainwright.app.set_up.run import LONGEST_KEY
from gainwright.web.errors import ERROR_RESPONSES
from gainwright.web.set_up.evaluation import current_run
from gainwright.web.site import Actor, CurrentJob, CurrentSite

if TYPE_CHECKING:
    from gainwright.app.store import StepNote

router = APIRouter(prefix="/api/jobs/{job}/notes", tags=["set-up run"], responses=ERROR_RESPONSES)


class NoteShown(BaseModel):
    """A note of a step; `media_type` and `size` are those of its photo, empty and 0 without one."""

    id: str
    step: str
    text: str
    media_type: str
    size: int
    by: str
    at: datetime
    key: str


def _shown(note: StepNote) -> NoteShown:
    return NoteShown(**{name: getattr(note, name) for name in NoteShown.model_fields})


def photo_answer(content: bytes, media_type: str) -> Response:
    """Return a photo to be shown: as nothing but a picture, and never changed."""
    headers = {
        "content-security-policy": "default-src 'none'; sandbox",
        "cache-control": "private, max-age=31536000, immutable",
    }
    return Response(content, media_type=media_type, headers=headers)


@router.get("")
def list_notes(site: CurrentSite, job: CurrentJob) -> list[NoteShown]:
    """Return the notes of a job's run, oldest first."""
    return [_shown(note) for note in site.store.notes.of(job.id)]


@router.post("", status_code=201)
def add(
    site: CurrentSite,
    actor: Actor,
    job: CurrentJob,
    step: Annotated[str, Form(max_length=200)],
    text: Annotated[str, Form(max_length=LONGEST_NOTE)] = "",
    key: Annotated[str, Form(max_length=LONGEST_KEY)] = "",
    photo: UploadFile | None = None,
) -> NoteShown:
    """Add a note to a step, with a photo (JPEG, PNG, WebP) or without; place, time and device are removed from the photo."""
    current_run(site, job).of(step)
    content = photo.file.read() if photo is not None else b""
    return _shown(add_note(site.store, job.id, step=step, text=text, by=actor, photo=content, key=key))


@router.get("/{note}/photo", response_class=Response, responses={200: {"content": {"image/*": {}}}})
def photo(site: CurrentSite, job: CurrentJob, note: str) -> Response:
    """Return the photo of a note."""
    kept = note_of(site.store, job.id, note)
    return photo_answer(site.store.notes.photo(kept.id), kept.media_type)


@router.delete("/{note}", status_code=204)
def remove(site: CurrentSite, job: CurrentJob, note: str) -> None:
    """Delete a note with its photo."""
    remove_note(site.store, job.id, note)
