"""The folders of music that a person let the program look into, known to others by a name and an id, never by a path of theirs."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Sequence

MOST = 500
"""Folders that are listed."""


@dataclass(frozen=True, slots=True)
class Folder:
    """A folder of music: the id it is asked for by, the name it is shown by, where it is."""

    id: str
    name: str
    path: Path


def usual_folder() -> Path | None:
    """Return the person's own folder of music, None when there is none."""
    found = Path.home() / "Music"
    return found if found.is_dir() else None


def checked_roots(named: Sequence[str]) -> tuple[Path, ...]:
    """Return the folders that were named, or the person's own one.

    Raises
    ------
    CallError : one of them isn't there.
    """
    roots = [Path(name) for name in named]
    for root in roots:
        if not root.is_dir():
            raise CallError("is no folder", code="no_folder", where=str(root), remedy="name a folder of music")
    usual = usual_folder()
    return tuple(root.resolve() for root in roots) or ((usual,) if usual is not None else ())


def folders(roots: Sequence[Path]) -> list[Folder]:
    """Return each root and the folders right inside it, sorted by name; what can't be read is left out."""
    found = []
    for root in roots:
        found.append(Folder(_id(root), root.name or str(root), root))
        try:
            inside = sorted(
                entry.path for entry in os.scandir(root) if entry.is_dir() and not entry.name.startswith(".")
            )
        except OSError:
            continue
        found += [Folder(_id(Path(p)), f"{root.name} / {Path(p).name}", Path(p)) for p in inside]
    return found[:MOST]


def chosen(roots: Sequence[Path], ids: Sequence[str]) -> list[Folder]:
    """Return the folders of some ids.

    Raises
    ------
    CallError : none is chosen, or one isn't there.
    """
    there = {folder.id: folder for folder in folders(roots)}
    if not ids:
        raise CallError("no folder is chosen", code="no_folder", remedy="choose at least one")
    for name in ids:
        if name not in there:
            raise CallError("a chosen folder is no longer there", code="no_such_folder", remedy="choose again")
    return [there[name] for name in dict.fromkeys(ids)]


def _id(path: Path) -> str:
    return hashlib.sha256(os.fsencode(path)).hexdigest()[:16]
