"""Folders of music that a person added on the page: kept in the store, and scanned like those named at the start."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING

from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.web.site import Site

KIND = "music folder"
"""Kind of the stored documents with their paths."""


def add(site: Site, typed: str) -> None:
    """Let a folder be scanned, now and after the next start.

    Raises
    ------
    CallError : nothing is typed, or it isn't a folder.
    """
    if not typed.strip():
        raise CallError(say("no folder is named"), code="no_folder", where="folder", remedy=say("type its whole path"))
    (path,) = site.world.music_folders.roots((typed.strip(),))
    (folder, *_) = site.world.music_folders.list((path,))
    site.store.documents.put(KIND, folder.id, {"path": path})
    site.music = tuple(dict.fromkeys((*site.music, path)))


def remove(site: Site, folder: str) -> None:
    """Leave an added folder out again; the folder itself and results of earlier scans stay."""
    kept = site.store.documents.get(KIND, folder)
    if kept is not None:
        site.store.documents.remove(KIND, folder)
        site.music = tuple(path for path in site.music if path != kept["path"])


def added(site: Site) -> dict[str, str]:
    """Return the path of each added folder by its id."""
    return {key: str(kept["path"]) for key, kept in site.store.documents.list(KIND)}


def use_added(site: Site) -> None:
    """Let the folders that were added earlier be scanned; those that are gone, such as on a stick, wait."""
    for path in added(site).values():
        with contextlib.suppress(CallError):
            site.music = tuple(dict.fromkeys((*site.music, *site.world.music_folders.roots((path,)))))
