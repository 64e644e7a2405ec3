"""Notes and photos at the steps of a set-up run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.app.set_up.photos import read_photo
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.app.store import StepNote, Store

LONGEST_NOTE = 2000
MOST_BYTES_OF_JOB = 300_000_000
"""Of all photos of a job."""


def add_note(store: Store, job: str, *, step: str, text: str, by: str, photo: bytes = b"", key: str = "") -> StepNote:
    """Add a note to a step, with a photo or without; the photo is kept without the place, time and device in it.

    Raises
    ------
    CallError : neither text nor photo, too long, too large, or no photo of a kind that can be kept.
    """
    words = text.strip()
    if not words and not photo:
        raise CallError(
            say("there is neither a note nor a photo"), code="no_note", remedy=say("write a note or choose a photo")
        )
    if len(words) > LONGEST_NOTE:
        raise CallError(
            say("over {LONGEST_NOTE} characters", LONGEST_NOTE=LONGEST_NOTE), code="too_long", remedy=say("shorten it")
        )
    if not photo:
        return store.notes.add(job, step=step, text=words, by=by, key=key)
    kept = read_photo(photo)
    if sum(note.size for note in store.notes.of(job)) + len(kept.content) > MOST_BYTES_OF_JOB:
        raise CallError(
            say("the photos of this job come to over {part} MB", part=MOST_BYTES_OF_JOB // 1000000),
            code="too_large",
            remedy=say("delete some of them first"),
        )
    return store.notes.add(job, step=step, text=words, by=by, photo=kept.content, media_type=kept.media_type, key=key)


def note_of(store: Store, job: str, note: str) -> StepNote:
    """Return a note of a job. CallError `no_such_note`: the job has none of that name."""
    found = store.notes.get(note)
    if found.job != job:
        raise CallError(say("there is no such note"), code="no_such_note", remedy=say("see the notes of the step"))
    return found


def remove_note(store: Store, job: str, note: str) -> None:
    """Remove a note of a job. CallError `no_such_note`."""
    store.notes.remove(note_of(store, job, note).id)
