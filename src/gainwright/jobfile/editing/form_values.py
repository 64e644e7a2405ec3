"""Set several keys at once, such as those of a form: all of them or none."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.jobfile.editing.draft import Draft
from gainwright.jobfile.editing.values import put_key, remove_key

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.jobfile.reading import JobFile


def set_keys(
    text: str, values: Mapping[tuple[str, ...], Any], *, name: str = "job", read: JobFile | None = None
) -> str:
    """Return a job file's text with keys set to values, or removed where the value is None.

    Raises
    ------
    JobError : the result is not a job; gives line, column and key, and nothing is changed.
    """
    draft = Draft(text, name, read=read)
    for path, value in values.items():
        if value is None:
            remove_key(draft, path)
        else:
            put_key(draft, path, value)
    return draft.finished()
