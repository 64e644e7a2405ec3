"""Jobs that are kept: begin one, take one in from a file, double it, put it away, hand its file back."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from gainwright.errors import CallError, GainwrightError

if TYPE_CHECKING:
    from gainwright.app.store import Store, StoredJob

LONGEST_TITLE = 300


def create_job(store: Store, *, like: str) -> StoredJob:
    """Keep a new job that begins as an example does. CallError: no such example."""
    from gainwright.jobfile import example_text

    return add_job(store, example_text(like))


def add_job(store: Store, text: str, *, name: str = "") -> StoredJob:
    """Keep a job file's text as a new job.

    Raises
    ------
    JobError : the text is no job; says where and what.
    """
    from gainwright.jobfile import read_job_text

    read = read_job_text(text, name=name) if name else read_job_text(text)
    return store.jobs.add(title=listed_title(read.job.title), text=read.text)


def import_job(store: Store, content: bytes, *, name: str) -> StoredJob:
    """Keep an uploaded job file.

    Raises
    ------
    CallError : it is no text.
    JobError : it is no job.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise CallError(
            "is no text in UTF-8", code="no_text", where=shown_file_name(name), remedy="choose a job file, car.yaml"
        ) from None
    return add_job(store, text, name=shown_file_name(name))


def shown_file_name(name: str) -> str:
    """Return a file name that a client told, as it may be shown: its last part, short, without control characters."""
    last = re.split(r"[\\/]", name)[-1]
    return "".join(c for c in last if c.isprintable())[:80] or "the file"


def listed_title(title: str) -> str:
    """Return a title as it is listed."""
    return title.strip()[:LONGEST_TITLE] or "untitled"


def write_job(store: Store, job: str, text: str, *, seen: int, by: str = "") -> StoredJob:
    """Keep a new version of a job.

    Raises
    ------
    JobError : the text is no job; nothing was changed.
    ConflictError : somebody else changed it since.
    """
    from gainwright.jobfile import read_job_text

    read = read_job_text(text)
    return store.jobs.write(job, title=listed_title(read.job.title), text=read.text, seen=seen, by=by)


def copy_job(store: Store, job: str) -> StoredJob:
    """Keep a copy of a job under a title that says so."""
    from gainwright.jobfile.editing import set_key

    found = store.jobs.get(job)
    title = f"{found.title} (copy)"[:LONGEST_TITLE]
    try:
        text = set_key(found.text, ("title",), title)
    except GainwrightError:
        text, title = found.text, found.title
    return store.jobs.add(title=title, text=text)


def job_file_name(title: str) -> str:
    """Return a file name for a job: letters and figures of its title."""
    plain = re.sub(r"[^\w]+", "-", title.lower(), flags=re.ASCII).strip("-")[:60]
    return f"{plain or 'job'}.yaml"
