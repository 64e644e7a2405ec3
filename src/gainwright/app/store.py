"""The store as protocols: jobs with their versions, runs, cases, recordings, devices, other documents."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, Protocol, TypeVar

from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from datetime import datetime

    from gainwright.diagnose import ClosedCases
    from gainwright.model.case import Case

JobState = Literal["kept", "archived", "deleted"]
RunKind = Literal["reading", "done", "skipped", "taken_back"]


Found = TypeVar("Found")


class ConflictError(CallError):
    """It has changed since the writer read it; nothing was written, nothing is lost."""


def case_closed(name: str) -> CallError:
    """Return the error for going on with a closed case: how it ended isn't written over."""
    return CallError(
        say("the case {name} is closed", name=name), code="case_closed", remedy=say("reopen it to continue")
    )


def job_deleted(title: str) -> CallError:
    """Return the error for something that is sent to a deleted job: it would be removed with it."""
    return CallError(
        say("the job {title} is deleted; nothing was stored", title=title),
        code="job_deleted",
        remedy=say("restore the job first, then send it again"),
    )


@dataclass(frozen=True, slots=True)
class StoredJob:
    """A job in its current version.

    Attributes
    ----------
    text : of the job file, comments and all.
    revision : grows with every change, undo and redo included; a writer gives the one that was read.
    undoable, redoable : how many changes can be undone, or redone.
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
    """An entry for a step of a set-up run; a later entry replaces an earlier one of the step, and none is deleted.

    Attributes
    ----------
    number : grows by one with each entry of a job, from 1.
    text : as it was typed; the reason when skipped.
    value : what was read from the text, with the verdict.
    by : the device it was entered on.
    key : made by its writer for this entry alone, so that it can be sent again; empty when it has none.
    """

    number: int
    step: str
    kind: RunKind
    text: str
    value: Mapping[str, Any]
    by: str
    at: datetime
    key: str = ""


@dataclass(frozen=True, slots=True)
class StepNote:
    """A note of a step of a set-up run, with a photo or without; the photo is fetched separately.

    Attributes
    ----------
    media_type, size : of the photo, bytes; empty and 0 without one.
    by : the device it was made on.
    key : made by its writer for this note alone; empty when it has none.
    """

    id: str
    job: str
    step: str
    text: str
    media_type: str
    size: int
    by: str
    at: datetime
    key: str = ""


@dataclass(frozen=True, slots=True)
class StoredRecording:
    """A recording of a job with its measurement; its samples are fetched separately."""

    id: str
    job: str
    name: str
    size: int
    measured: Mapping[str, Any]
    at: datetime


@dataclass(frozen=True, slots=True)
class PairedDevice:
    """A paired device, identified by the digest of its token."""

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


@dataclass(frozen=True, slots=True)
class StoredDocument:
    """A document of some kind; its revision differs after every change."""

    key: str
    content: dict[str, Any]
    revision: int


class Jobs(Protocol):
    """Jobs and their versions."""

    def list(self, *, words: str = "", shelf: JobState = "kept", most: int | None = None) -> list[StoredJob]:
        """Return the jobs whose title or text contains every word, last changed first, at most `most` of them."""

    def get(self, job: str) -> StoredJob:
        """Return a job. CallError `no_such_job`."""

    def add(self, *, title: str, text: str) -> StoredJob:
        """Add a job."""

    def write(self, job: str, *, title: str, text: str, seen: int, by: str = "") -> StoredJob:
        """Add a version of a job. ConflictError: its revision isn't `seen`."""

    def undo(self, job: str, *, seen: int) -> StoredJob:
        """Go one version back. ConflictError; CallError `nothing_to_undo`."""

    def redo(self, job: str, *, seen: int) -> StoredJob:
        """Go one version forward again. ConflictError; CallError `nothing_to_redo`."""

    def put(self, job: str, shelf: JobState, *, seen: JobState | None = None) -> StoredJob:
        """Keep, archive or delete a job; a deleted one can be restored for 30 days, and takes nothing meanwhile: `job_deleted`.

        ConflictError: its state isn't `seen`; None moves it in any case.
        """


class Runs(Protocol):
    """Set-up runs: the entries of each job."""

    def entries(self, job: str) -> list[RunEntry]:
        """Return all entries, in order."""

    def jobs_between(self, begin: datetime, end: datetime) -> dict[str, tuple[int, int]]:
        """Return the jobs with an entry made from `begin` on and before `end`, except deleted ones.

        Each comes with how many of those entries there are, and the number of the last one. They change with every entry,
        since entries are only ever added.
        """

    def add(
        self,
        job: str,
        *,
        step: str,
        kind: RunKind,
        text: str,
        value: Mapping[str, Any],
        by: str,
        seen: int,
        key: str = "",
    ) -> RunEntry:
        """Add an entry. `seen` is the number of the step's last entry that the writer read, 0 for none. ConflictError: there is a newer one.

        An entry of the same step, kind and text with the same key is in the store only once: sent again it is returned.
        """


class Notes(Protocol):
    """Notes and photos of the steps of each job's run."""

    def of(self, job: str) -> list[StepNote]:
        """Return a job's notes, oldest first."""

    def add(
        self, job: str, *, step: str, text: str, by: str, photo: bytes = b"", media_type: str = "", key: str = ""
    ) -> StepNote:
        """Add a note; with a photo its media type is given. The same key again in a job is the same note."""

    def get(self, note: str) -> StepNote:
        """Return one. CallError `no_such_note`."""

    def photo(self, note: str) -> bytes:
        """Return its photo. CallError `no_such_note`: it has none, or isn't there."""

    def remove(self, note: str) -> None:
        """Delete one with its photo. CallError `job_deleted`: its job is deleted."""


class Recordings(Protocol):
    """Recordings of jobs."""

    def of(self, job: str) -> list[StoredRecording]:
        """Return a job's recordings, newest first."""

    def add(self, job: str, *, name: str, content: bytes, measured: Mapping[str, Any]) -> StoredRecording:
        """Add a recording."""

    def get(self, recording: str) -> StoredRecording:
        """Return one. CallError `no_such_recording`."""

    def content(self, recording: str) -> bytes:
        """Return the WAV file."""

    def pieces(self, recording: str) -> Iterator[bytes]:
        """Yield the WAV file piece by piece; it is whole in memory only until the first."""

    def remove(self, recording: str) -> None:
        """Delete one."""


class Cases(Protocol):
    """Cases."""

    def find(self, words: str = "") -> Sequence[StoredCase]:
        """Return the cases that contain every word, last changed first."""

    def get(self, name: str) -> StoredCase:
        """Return one. CallError `no_such_case`."""

    def counted(self) -> ClosedCases:
        """Return the closed cases, counted by cause, complaint and kind of chain; the priors of every diagnosis follow from them."""

    def add_all(self, cases: Mapping[str, Case]) -> None:
        """Add new cases by name, all or none. ConflictError: one of the names is in use."""

    def write(self, name: str, case: Case, *, seen: int) -> StoredCase:
        """Write a case; `seen` is 0 for a new one. ConflictError: its revision isn't `seen`."""


class Devices(Protocol):
    """Paired devices."""

    def list(self) -> list[PairedDevice]:
        """Return all that were ever paired, last seen first."""

    def add(self, *, name: str, token_digest: str) -> PairedDevice:
        """Add a device."""

    def by_token(self, token_digest: str) -> PairedDevice | None:
        """Return the device of a token unless its access was revoked; records that it was seen."""

    def revoke(self, device: str) -> None:
        """Revoke its access. CallError `no_such_device`."""


class Documents(Protocol):
    """Anything else as JSON by kind and id: practices, results of scans, settings."""

    def put(self, kind: str, key: str, content: Mapping[str, Any], *, seen: int | None = None) -> int:
        """Add or replace a document; return its revision. ConflictError: its revision isn't `seen`, 0 for none; None writes in any case."""

    def read(self, kind: str, key: str) -> StoredDocument | None:
        """Return a document with its revision, None when there is none."""

    def get(self, kind: str, key: str) -> dict[str, Any] | None:
        """Return a document, None when there is none."""

    def all(self, kind: str) -> list[StoredDocument]:
        """Return each of a kind with its revision, last changed first."""

    def list(self, kind: str) -> list[tuple[str, dict[str, Any]]]:
        """Return key and content of each of a kind, last changed first."""

    def remove(self, kind: str, key: str, *, seen: int | None = None) -> None:
        """Delete a document, if it exists. ConflictError: its revision isn't `seen`; None deletes it in any case."""


class Store(Protocol):
    """The whole store. Every write is atomic, and on the disk when its call returns."""

    @property
    def jobs(self) -> Jobs:
        """Jobs."""

    @property
    def runs(self) -> Runs:
        """Set-up runs."""

    @property
    def notes(self) -> Notes:
        """Notes and photos of steps."""

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

    def age_s(self) -> int:
        """Return how long the store has provably existed, in s: a clock set ahead counts as a day at most."""

    def close(self) -> None:
        """Close the database."""


def found_or_none(get: Callable[[str], Found], name: str) -> Found | None:
    """Return what `get` finds of a name; None where there is none of it (an error whose code begins with `no_such_`)."""
    try:
        return get(name)
    except CallError as error:
        if error.code.startswith("no_such_"):
            return None
        raise
