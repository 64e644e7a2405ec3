"""The music folders that the user allowed to be scanned; other devices see a name and an id, never a path."""

from __future__ import annotations

import contextlib
import hashlib
import os
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright.app.music.ports import MusicFolder
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Sequence

MOST = 500
"""Most folders that are listed."""


class DiskMusicFolders:
    """Folders on the disks of this machine."""

    def roots(self, named: Sequence[str]) -> tuple[str, ...]:
        """Return the named folders as absolute paths; if none are named, the user's own music folder if there is one.

        Raises
        ------
        CallError : one of them doesn't exist.
        """
        paths = [_from_home(name) for name in named]
        for path in paths:
            if not path.is_dir():
                raise CallError("is not a folder", code="no_folder", where=str(path), remedy="name a folder of music")
        own = Path.home() / "Music"
        return tuple(str(path.resolve()) for path in paths) or ((str(own),) if own.is_dir() else ())

    def list(self, roots: Sequence[str]) -> list[MusicFolder]:
        """Return each root and its direct subfolders, sorted by name; unreadable ones are left out."""
        found = []
        for root in map(Path, roots):
            found.append(_folder(root, root.name or str(root)))
            with contextlib.suppress(OSError):
                inside = [Path(e.path) for e in os.scandir(root) if e.is_dir() and not e.name.startswith(".")]
                found += [_folder(path, f"{root.name} / {path.name}") for path in sorted(inside)]
        return found[:MOST]

    def shown(self, file: str, roots: Sequence[str]) -> str:
        """Return the path of a file, starting at its root; only its name if it is below none of them."""
        for root in map(Path, roots):
            with contextlib.suppress(ValueError):
                return str(Path(root.name) / Path(file).relative_to(root))
        return Path(file).name


def _from_home(name: str) -> Path:
    """Return a path, with `~` as the user's own folder."""
    with contextlib.suppress(RuntimeError):  # ~somebody: there is no such user
        return Path(name).expanduser()
    return Path(name)


def _folder(path: Path, name: str) -> MusicFolder:
    return MusicFolder(hashlib.sha256(os.fsencode(path)).hexdigest()[:16], name, str(path))
