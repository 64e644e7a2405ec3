"""What is kept, as protocols: jobs with their versions, runs, cases, recordings, devices, practices, results."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, Protocol

from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from gainwright.model import Case

JobState = Literal["kept", "archived", "deleted"]
RunKind = Literal["reading", "done", "skipped", "taken_back"]


class ConflictError(CallError):
    """Somebody else changed it since it was seen; nothing was written, nothing is lost."""


@dataclass(frozen=True, slots=True)
class StoredJob:
    """A job as it stands.

    Attributes
    ----------
    text : of the job file, comments and all.
    revision : grows with every change, also with undo and redo; what a writer says he saw.
    undoable, redoable : how many changes can be taken back, or done again.
    """

    id: str
    title: str
    text: str
    revision: int
    shelf: JobState
    undoable: int
    redoable: int
    created: datetime
    changed: datetime


@dataclass(frozen=True, slots=True)
class RunEntry:
    """What was said of one step of a set-up run; later entries of a step replace earlier ones, none is ever deleted.

    Attributes
    ----------
    number : grows by one with each entry of a job, from 1.
    text : as it was typed; a reason when skipped.
    value : what it was read as and found to be, for whoever wrote it.
    by : the device it came from.
    """

    number: int
    step: str
    kind: RunKind
    text: str
    value: Mapping[str, Any]
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class StoredRecording:
    """A recording kept with a job, and what was measured of it; its samples are fetched apart."""

    id: str
    job: str
    name: str
    size: int
    measured: Mapping[str, Any]
    at: datetime


@dataclass(frozen=True, slots=True)
class Device:
    """A device that was paired: known by the digest of its token."""

    id: str
    name: str
    token_digest: str
    paired: datetime
    seen: datetime
    put_out: bool


@dataclass(frozen=True, slots=True)
class StoredCase:
    """A case by name, with what a list shows."""

    name: str
    case: Case
    revision: int
    changed: datetime


class Jobs(Protocol):
    """Jobs and their versions."""

    def list(self, *, words: str = "", shelf: JobState = "kept", most: int | None = None) -> list[StoredJob]:
        """Return the jobs of a shelf that hold every one of the words in title or text, last changed first; all, or so many."""

    def get(self, job: str) -> StoredJob:
        """Return a job. CallError `no_such_job`."""

    def add(self, *, title: str, text: str) -> StoredJob:
        """Keep a new job."""

    def write(self, job: str, *, title: str, text: str, seen: int, by: str = "") -> StoredJob:
        """Keep a new version of a job. ConflictError: its revision isn't the one seen."""

    def undo(self, job: str, *, seen: int) -> StoredJob:
        """Go one version back. ConflictError; CallError `nothing_to_undo`."""

    def redo(self, job: str, *, seen: int) -> StoredJob:
        """Go one version forward again. ConflictError; CallError `nothing_to_redo`."""

    def put(self, job: str, shelf: JobState) -> StoredJob:
        """Keep, archive or delete a job; a deleted one can be put back until it is swept out after 30 days."""


class Runs(Protocol):
    """Set-up runs: what was read, step by step, of each job."""

    def entries(self, job: str) -> list[RunEntry]:
        """Return everything said so far, in order."""

    def add(
        self, job: str, *, step: str, kind: RunKind, text: str, value: Mapping[str, Any], by: str, seen: int
    ) -> RunEntry:
        """Keep an entry. `seen` is the number of the step's last entry that the writer knew, 0 for none. ConflictError: there is a newer one."""


class Recordings(Protocol):
    """Recordings of jobs."""

    def of(self, job: str) -> list[StoredRecording]:
        """Return a job's recordings, newest first."""

    def add(self, job: str, *, name: str, content: bytes, measured: Mapping[str, Any]) -> StoredRecording:
        """Keep a recording."""

    def get(self, recording: str) -> StoredRecording:
        """Return one. CallError `no_such_recording`."""

    def content(self, recording: str) -> bytes:
        """Return the file as it was kept."""

    def remove(self, recording: str) -> None:
        """Take one out."""


class Cases(Protocol):
    """Cases."""

    def find(self, words: str = "") -> Sequence[StoredCase]:
        """Return the cases that hold every one of the words anywhere, last changed first."""

    def get(self, name: str) -> StoredCase:
        """Return one. CallError `no_such_case`."""

    def closed_by_cause(self) -> dict[str, int]:
        """Return how many cases were closed with each cause: what the priors of every diagnosis are sharpened by."""

    def write(self, name: str, case: Case, *, seen: int) -> StoredCase:
        """Keep a case; `seen` is 0 for a new one. ConflictError: its revision isn't the one seen."""


class Devices(Protocol):
    """Paired devices."""

    def list(self) -> list[Device]:
        """Return all that were ever paired, last seen first."""

    def add(self, *, name: str, token_digest: str) -> Device:
        """Keep a device."""

    def by_token(self, token_digest: str) -> Device | None:
        """Return the device of a token unless it was put out; notes that it was seen."""

    def put_out(self, device: str) -> None:
        """Let it in no more. CallError `no_such_device`."""


class Documents(Protocol):
    """Anything else as JSON by kind and id: practices, results of scans, settings."""

    def put(self, kind: str, key: str, content: Mapping[str, Any]) -> None:
        """Keep or replace a document."""

    def get(self, kind: str, key: str) -> dict[str, Any] | None:
        """Return a document, None when there is none."""

    def list(self, kind: str) -> list[tuple[str, dict[str, Any]]]:
        """Return key and content of each of a kind, last changed first."""

    def remove(self, kind: str, key: str) -> None:
        """Take a document out, if it is there."""


class Store(Protocol):
    """All of it. Every write is on the disk before its call returns, whole or not at all."""

    @property
    def jobs(self) -> Jobs:
        """Jobs."""

    @property
    def runs(self) -> Runs:
        """Set-up runs."""

    @property
    def recordings(self) -> Recordings:
        """Recordings."""

    @property
    def cases(self) -> Cases:
        """Cases."""

    @property
    def devices(self) -> Devices:
        """Devices."""

    @property
    def documents(self) -> Documents:
        """Documents."""

    def close(self) -> None:
        """Let go of the database."""
