"""Choosing among the folders of music that may be scanned."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.app.music.ports import MusicFolder


def chosen_folders(folders: Sequence[MusicFolder], ids: Sequence[str]) -> list[MusicFolder]:
    """Return the folders with some ids.

    Raises
    ------
    CallError : none is chosen, or one isn't there.
    """
    there = {folder.id: folder for folder in folders}
    if not ids:
        raise CallError(say("no folder is chosen"), code="no_folder", remedy=say("choose at least one"))
    for name in ids:
        if name not in there:
            raise CallError(
                say("a chosen folder is no longer there"), code="no_such_folder", remedy=say("choose again")
            )
    return [there[name] for name in dict.fromkeys(ids)]
