"""Recordings of a job over HTTP: upload, measured results, files, marks."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from fastapi import APIRouter, UploadFile
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from gainwright.app.measuring import stored_recordings
from gainwright.app.measuring.stored_recordings import ListedRecording, import_recording
from gainwright.app.measuring.stored_result import StoredMeasurement
from gainwright.results import from_json
from gainwright.web.errors import ERROR_RESPONSES
from gainwright.web.site import CurrentJob, CurrentSite
from gainwright.web.work_api import streamed

router = APIRouter(prefix="/api/jobs/{job}/recordings", tags=["recordings"], responses=ERROR_RESPONSES)

SUFFIXES = (".wav", ".flac", ".ogg", ".mp3", ".aif", ".aiff")
What = Literal["handover", "no_handover", "at_ear", "not_at_ear", "remove", "put_back"]


class RecordingShown(BaseModel):
    """A recording: `measured` is the result of `gainwright measure`, with its origin and any doubt about it."""

    id: str
    name: str
    size: int
    at: datetime
    measured: StoredMeasurement
    handover: bool
    removed: bool
    at_ear: bool = False


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
        at_ear=kept.at_ear,
    )


@router.get("")
def list_recordings(site: CurrentSite, job: CurrentJob) -> list[RecordingShown]:
    """Return a job's recordings, newest first."""
    return [_shown(kept) for kept in stored_recordings.list_recordings(site.store, job.id)]


@router.post("", status_code=201)
def add_recording(site: CurrentSite, job: str, file: UploadFile) -> RecordingShown:
    """Import a sound file, measure it and store it with the job as a WAV file of 32-bit floats."""
    with site.uploads.turn():
        kept = import_recording(site.store, job, file.file, name=file.filename or "", files=site.world.sound_files)
    return _shown(ListedRecording(kept, handover=False, removed=False))


@router.post("/{recording}/marks", status_code=204)
def mark_recording(site: CurrentSite, job: str, recording: str, asked: RecordingMark) -> None:
    """Add a recording to the handover or leave it out, say that it was made at the ear, remove or restore it."""
    stored_recordings.mark_recording(site.store, job, recording, asked.what)


@router.get("/{recording}/file", response_class=Response)
async def recording_file(site: CurrentSite, job: str, recording: str) -> Response:
    """Return the WAV file."""
    kept = await run_in_threadpool(stored_recordings.recording_of, site.store, job, recording)
    name = kept.name.rsplit(".", 1)[0] if kept.name.lower().endswith(SUFFIXES) else kept.name
    pieces = site.store.recordings.pieces(recording)
    return await streamed(pieces, kept.size, name=f"{name}.wav", media_type="audio/wav", first_in=site.downloads)
