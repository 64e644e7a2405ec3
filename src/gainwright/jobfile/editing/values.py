"""Set or remove one key of a job."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.jobfile.editing.draft import Draft, Path, TextDraft
from gainwright.model import long_form

if TYPE_CHECKING:
    from gainwright.jobfile.editing.scalars import Value

SECTIONS = (
    "format",
    "title",
    "customer",
    "note",
    "vehicle",
    "allowance",
    "tones",
    "access",
    "thd_limit",
    "instruments",
    "stages",
)
"""Keys of a job in the order in which new ones are inserted."""
_NAMED = {("stages",), ("instruments",)}
_SHORT = ("allowance", "tones")


def set_key(text: str, path: Path, value: Value, *, name: str = "job") -> str:
    """Return a job file's text with one key set to a value; the rest is unchanged, comments included.

    Raises
    ------
    JobError : the text is not a job, or wouldn't be one; gives line, column and key.
    """
    draft = Draft(text, name)
    put_key(draft, path, value)
    return draft.finished()


def unset_key(text: str, path: Path, *, name: str = "job") -> str:
    """Return a job file's text without one key, and without parents that would be empty. JobError: as `set_key`."""
    draft = Draft(text, name)
    remove_key(draft, path)
    return draft.finished()


def put_key(draft: TextDraft, path: Path, value: Value) -> None:
    """Set one key of a draft; a single value for all outputs becomes one among others."""
    if len(path) > 1 and path[0] in _SHORT:
        held = draft.at(path[:1])
        if held is not None and not isinstance(held, dict):
            if path[1] == "all":
                draft.set(path[:1], value)
                return
            draft.set(path[:1], {"all": held})
    _lengthen(draft, path)
    after = None
    if draft.at(path[:1]) is None and path[0] in SECTIONS:
        before = SECTIONS[: SECTIONS.index(str(path[0]))]
        after = next((key for key in reversed(before) if key in draft.plain), None)
    if after is not None and len(path) > 1:
        nested: Value = value
        for part in reversed(path[1:]):
            nested = {str(part): nested}
        draft.set(path[:1], nested, after=after)
    else:
        draft.set(path, value, after=after)


def remove_key(draft: TextDraft, path: Path) -> None:
    """Remove one key of a draft, and its parent mapping when that is then empty."""
    if len(path) == 2 and path[0] in _SHORT and path[1] == "all" and not isinstance(draft.at(path[:1]), dict):
        path = path[:1]
    _lengthen(draft, path)
    draft.unset(path)
    while len(path) > 1 and draft.at(path[:-1]) in ({}, []) and not _named(path[:-1]):
        path = path[:-1]
        draft.unset(path)


def _lengthen(draft: TextDraft, path: Path) -> None:
    """Write a short form (`gain: fixed`) in full before one of its keys is changed."""
    if len(path) > 3 and path[0] == "stages":
        held = draft.at(path[:3])
        if held is not None and not isinstance(held, dict | list) and (full := long_form(str(path[2]), held)):
            draft.set(path[:3], full)


def _named(path: Path) -> bool:
    """Return whether a mapping represents a thing of its own, so that it is kept even when empty."""
    return path[:-1] in _NAMED or (len(path) == 4 and path[0] == "stages" and path[2] in ("outputs", "inputs"))
