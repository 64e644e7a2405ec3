"""Several keys changed at once, as one types them into a form: all of them, or none."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.jobfile.editing.draft import Draft
from gainwright.jobfile.editing.values import put, take_out

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.jobfile.reading import JobFile


def fill(text: str, values: Mapping[tuple[str, ...], Any], *, name: str = "job", read: JobFile | None = None) -> str:
    """Return a job file's text with keys put to values, or taken out where the value is None.

    Raises
    ------
    JobError : the result is no job; says line, column and key, and nothing is changed.
    """
    draft = Draft(text, name, read=read)
    for path, value in values.items():
        if value is None:
            take_out(draft, path)
        else:
            put(draft, path, value)
    return draft.finished()
