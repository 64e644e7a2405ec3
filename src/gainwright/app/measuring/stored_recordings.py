"""Recordings of a job: recorded, imported, measured, marked for the handover, removed and restored."""

from __future__ import annotations

import contextlib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from gainwright.app.document_changes import change_document
from gainwright.app.store import ConflictError, job_deleted
from gainwright.errors import CallError
from gainwright.harmless import one_line
from gainwright.texts import say

if TYPE_CHECKING:
    from typing import IO

    import numpy.typing as npt

    from gainwright.app.measuring.stored_result import Origin
    from gainwright.app.ports import SoundFiles
    from gainwright.app.store import Store, StoredDocument, StoredRecording

    Floats = npt.NDArray[Any]

MARKS = "recording_marks"
LONGEST_NAME = 80
RESTORABLE_FOR = timedelta(days=7)
"""How long a removed recording can be restored at least, by the store's own count of time (`Store.age_s`)."""
_measuring = ThreadPoolExecutor(1, thread_name_prefix="measuring")
"""One recording is measured at a time, wherever it comes from, and always by the same thread: an allocator keeps what a
thread has freed for that thread, so that forty threads in turn would hold forty times as much."""


class Take:
    """A recording in the making, from the blocks of a live measurement: a WAV file of 32-bit floats.

    Parameters
    ----------
    file : empty, open for reading and writing.

    Attributes
    ----------
    gaps : how often samples were lost.
    ended : it is complete, or was stopped; nothing is added any more.
    """

    # 32-bit floats hold up to 24 bits exactly

    def __init__(self, file: IO[bytes], *, seconds: float, rate_hz: int, channels: int, name: str) -> None:
        import soundfile

        self._frames = round(seconds * rate_hz)
        self._file = file
        self._sound = soundfile.SoundFile(self._file, "w", rate_hz, channels, format="WAV", subtype="FLOAT")
        self.name = shown_name(name) or f"recording of {datetime.now().astimezone():%H:%M:%S}"
        self._taken = 0
        self.gaps = 0
        self.ended = False

    @property
    def share(self) -> float:
        """How much of it is done, 0 .. 1."""
        return min(1.0, self._taken / self._frames)

    def gap(self) -> None:
        """Count a gap."""
        self.gaps += 1 if self._taken else 0

    def add(self, samples: Floats, *, lost: bool = False) -> bool:
        """Add a block; return whether the recording is complete."""
        if lost:
            self.gap()
        piece = samples[: self._frames - self._taken].astype("float32")
        self._sound.write(piece)
        self._taken += len(piece)
        return self._taken >= self._frames

    def wav(self) -> IO[bytes]:
        """Return the file, complete; nothing can be added any more."""
        self.ended = True
        self._sound.close()
        return self._file

    def close(self) -> None:
        """Remove the file."""
        with contextlib.suppress(OSError, RuntimeError):  # the disk is full
            self._sound.close()
        self._file.close()


def shown_name(name: str) -> str:
    """Return a name as it may be shown: one line, no control characters, shortened."""
    return one_line(name)[:LONGEST_NAME]


def add_recording(
    store: Store,
    job: str,
    wav: IO[bytes],
    *,
    name: str,
    about: Origin,
    calibrate_v: float | None = None,
    expect_hz: float | None = None,
    limit_percent: float = 1.0,
) -> StoredRecording:
    """Measure a WAV file and store it with a job.

    Parameters
    ----------
    about : where it comes from, and what may have spoiled it.

    Raises
    ------
    RecordingError : it can't be measured.
    CallError : there is no such job, or the store can't be written.
    """
    from gainwright.app.measuring.stored_result import StoredMeasurement
    from gainwright.metering import measure, opened_recording
    from gainwright.results import to_json

    def measured_and_stored() -> StoredRecording:
        with opened_recording(wav, name=name) as recording:
            result = measure(recording, calibrate_v=calibrate_v, expect_hz=expect_hz, limit_percent=limit_percent)
        measured = StoredMeasurement(result.rate_hz, result.channels, calibrate_v, about)
        wav.seek(0)
        return store.recordings.add(job, name=name, content=wav.read(), measured=to_json(measured))

    return _measuring.submit(measured_and_stored).result()


def import_recording(store: Store, job: str, upload: IO[bytes], *, name: str, files: SoundFiles) -> StoredRecording:
    """Convert an uploaded sound file to WAV, measure it and store it with a job.

    Raises
    ------
    RecordingError : it can't be read as sound.
    CallError : there is no such job, or the store can't be written.
    """
    store.jobs.get(job)
    shown = shown_name(name) or "recording"
    from gainwright.app.measuring.stored_result import Origin

    with files.scratch() as wav:
        files.to_wav(upload, wav, name=shown)
        return add_recording(store, job, wav, name=shown, about=Origin("uploaded"))


@dataclass(frozen=True, slots=True)
class ListedRecording:
    """A recording as a job's list shows it: whether it goes onto the handover, was removed, was made at the ear."""

    recording: StoredRecording
    handover: bool
    removed: bool
    at_ear: bool = False


def list_recordings(store: Store, job: str) -> list[ListedRecording]:
    """Return a job's recordings, newest first, with those removed lately; delete those removed too long ago by the store's own count of time."""
    listed, age_s = [], store.age_s()
    for recording in store.recordings.of(job):
        found = store.documents.read(MARKS, recording.id)
        marks = {} if found is None else found.content
        removed = marks.get("removed") is not None
        if removed and found is not None and age_s - marks.get("removed_age", 0) > RESTORABLE_FOR.total_seconds():
            _delete(store, found)
            continue
        listed.append(ListedRecording(recording, bool(marks.get("handover")), removed, bool(marks.get("at_ear"))))
    return listed


def _delete(store: Store, marks: StoredDocument) -> None:
    """Delete a recording that was removed long ago, unless somebody restores it just now."""
    try:
        store.documents.put(MARKS, marks.key, {**marks.content, "deleted": True}, seen=marks.revision)
    except ConflictError:
        return
    store.recordings.remove(marks.key)
    store.documents.remove(MARKS, marks.key)


def handover_recordings(store: Store, job: str) -> tuple[str, ...]:
    """Return the recordings that go onto a job's handover."""
    return tuple(k.recording.id for k in list_recordings(store, job) if k.handover and not k.removed)


def recording_of(store: Store, job: str, recording: str) -> StoredRecording:
    """Return a recording of a job. CallError: this job has none of that id."""
    stored = store.recordings.get(recording)
    if stored.job != job:
        raise _no_such_recording()
    return stored


def mark_recording(store: Store, job: str, recording: str, what: str) -> None:
    """Apply `handover`, `no_handover`, `at_ear`, `not_at_ear`, `remove` or `put_back` to a recording of a job; what others mark meanwhile stays.

    Raises
    ------
    CallError : there is no such recording in this job, the job is deleted, or there is no such mark.
    """
    changes: dict[str, dict[str, Any]] = {
        "handover": {"handover": True},
        "no_handover": {"handover": False},
        "at_ear": {"at_ear": True},
        "not_at_ear": {"at_ear": False},
        "remove": {"removed": datetime.now(UTC).isoformat(), "removed_age": store.age_s()},
        "put_back": {"removed": None},
    }

    def change(marks: dict[str, Any] | None) -> dict[str, Any]:
        recording_of(store, job, recording)  # after the marks were read: one that is being deleted isn't there
        if (kept := store.jobs.get(job)).shelf == "deleted":
            raise job_deleted(kept.title)
        if marks is not None and marks.get("deleted"):
            raise _no_such_recording()
        if what not in changes:
            raise CallError(say("that can't be done with a recording"), code="bad_call")
        return {**(marks or {}), **changes[what]}

    change_document(store.documents, MARKS, recording, change)


def _no_such_recording() -> CallError:
    return CallError(
        say("there is no such recording"), code="no_such_recording", remedy=say("see the job's recordings")
    )
