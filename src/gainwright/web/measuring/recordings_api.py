"""Recordings of a job over HTTP: upload, measured results, files, marks."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from fastapi import APIRouter, UploadFile
from pydantic import BaseModel
from starlette.responses import Response

from gainwright.app.measuring import stored_recordings
from gainwright.app.measuring.stored_recordings import ListedRecording, import_recording
from gainwright.app.measuring.stored_result import StoredMeasurement
from gainwright.errors import CallError
from gainwright.results import from_json
from gainwright.web.site import CurrentSite
from gainwright.web.work_api import attachment

router = APIRouter(prefix="/api/jobs/{job}/recordings", tags=["recordings"])

SUFFIXES = (".wav", ".flac", ".ogg", ".mp3", ".aif", ".aiff")
What = Literal["handover", "no_handover", "remove", "put_back"]


class RecordingShown(BaseModel):
    """A recording: `measured` is the result of `gainwright measure`, with its origin and any doubt about it."""

    id: str
    name: str
    size: int
    at: datetime
    measured: StoredMeasurement
    handover: bool
    removed: bool


class RecordingMark(BaseModel):
    """What to do with a recording."""

    what: What


def _shown(kept: ListedRecording) -> RecordingShown:
    plain = {name: getattr(kept.recording, name) for name in ("id", "name", "size", "at")}
    return RecordingShown(
        **plain,
        measured=from_json(StoredMeasurement, dict(kept.recording.measured)),
        handover=kept.handover,
        removed=kept.removed,
    )


@router.get("")
def list_recordings(site: CurrentSite, job: str) -> list[RecordingShown]:
    """Return a job's recordings, newest first."""
    site.store.jobs.get(job)
    return [_shown(kept) for kept in stored_recordings.list_recordings(site.store, job)]


@router.post("", status_code=201)
def add_recording(site: CurrentSite, job: str, file: UploadFile) -> RecordingShown:
    """Take in a sound file, measure it and keep it with the job as a WAV file of 32-bit floats."""
    found = import_recording(site.store, job, file.file.read(), name=file.filename or "", files=site.world.sound_files)
    return _shown(ListedRecording(found, handover=False, removed=False))


@router.post("/{recording}/marks", status_code=204)
def mark_recording(site: CurrentSite, job: str, recording: str, asked: RecordingMark) -> None:
    """Put a recording on the handover or leave it out, take it out of the job or put it back."""
    stored_recordings.mark_recording(site.store, job, recording, asked.what)


@router.get("/{recording}/file", response_class=Response)
def recording_file(site: CurrentSite, job: str, recording: str) -> Response:
    """Return the WAV file."""
    found = site.store.recordings.get(recording)
    if found.job != job:
        raise CallError("there is no such recording", code="no_such_recording", remedy="see the job's recordings")
    name = found.name.rsplit(".", 1)[0] if found.name.lower().endswith(SUFFIXES) else found.name
    return attachment(site.store.recordings.content(recording), name=f"{name}.wav", media_type="audio/wav")
