"""Jobs of the store: create, import, copy and write them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from gainwright.errors import CallError, GainwrightError
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.app.store import Store, StoredJob

LONGEST_TITLE = 300


def create_job(store: Store, *, like: str) -> StoredJob:
    """Add a job that starts as a copy of an example. CallError: no such example."""
    from gainwright.jobfile import example_text

    return add_job(store, example_text(like))


def add_job(store: Store, text: str, *, name: str = "") -> StoredJob:
    """Add a job from the text of a job file.

    Raises
    ------
    JobError : the text isn't a valid job; `where` is the place in it.
    """
    from gainwright.jobfile import read_job_text

    read = read_job_text(text, name=name) if name else read_job_text(text)
    return store.jobs.add(title=listed_title(read.job.title), text=read.text)


def import_job(store: Store, content: bytes, *, name: str) -> StoredJob:
    """Add a job from an uploaded file.

    Raises
    ------
    CallError : it isn't text.
    JobError : it isn't a valid job, or another kind of file.
    """
    from gainwright.jobfile import refuse_other_file

    refuse_other_file(content[:16], shown_file_name(name))
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise CallError(
            say("isn't UTF-8 text"),
            code="no_text",
            where=shown_file_name(name),
            remedy=say("choose a job file, car.yaml"),
        ) from None
    return add_job(store, text, name=shown_file_name(name))


def shown_file_name(name: str) -> str:
    """Return a file name from a client as it may be shown: its last part, shortened, without control characters."""
    last = re.split(r"[\\/]", name)[-1]
    return "".join(c for c in last if c.isprintable())[:80] or "the file"


def listed_title(title: str) -> str:
    """Return a title as lists show it."""
    return title.strip()[:LONGEST_TITLE] or "untitled"


def write_job(store: Store, job: str, text: str, *, seen: int, by: str = "") -> StoredJob:
    """Write a new version of a job.

    Raises
    ------
    JobError : the text isn't a valid job; nothing was written.
    ConflictError : somebody else has changed it since `seen`.
    """
    from gainwright.jobfile import read_job_text

    read = read_job_text(text)
    return store.jobs.write(job, title=listed_title(read.job.title), text=read.text, seen=seen, by=by)


def copy_job(store: Store, job: str) -> StoredJob:
    """Add a copy of a job, with (copy) in its title."""
    from gainwright.jobfile.editing import set_key

    original = store.jobs.get(job)
    title = f"{original.title} (copy)"[:LONGEST_TITLE]
    try:
        text = set_key(original.text, ("title",), title)
    except GainwrightError:
        text, title = original.text, original.title
    return store.jobs.add(title=title, text=text)


def job_file_name(title: str) -> str:
    """Return a file name made of the letters and digits of a title."""
    plain = re.sub(r"[^\w]+", "-", title.lower(), flags=re.ASCII).strip("-")[:60]
    return f"{plain or 'job'}.yaml"
