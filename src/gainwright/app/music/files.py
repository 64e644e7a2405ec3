"""Finding recordings in folders: recursively, sorted, each once, one look at the disk a file."""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence


@dataclass(frozen=True, slots=True)
class SoundFile:
    """A file and what the disk tells of it without opening it."""

    path: str
    size: int
    mtime_ns: int
    inode: int

    @property
    def key(self) -> tuple[str, int, int, int]:
        """Return what it is known again by: its absolute path, size, time of change and number on its disk."""
        return str(Path(self.path).absolute()), self.size, self.mtime_ns, self.inode


@dataclass(frozen=True, slots=True)
class Skipped:
    """A file that is left out, and why, in one sentence."""

    file: str
    why: str


def find_files(paths: Sequence[Path | str]) -> tuple[tuple[SoundFile, ...], tuple[Skipped, ...]]:
    """Return the recordings at paths, sorted by path, and what can't be looked at; links in circles are followed once.

    In folders they are known by their suffix (`programme.SUFFIXES`); a file that is named itself is tried whatever it is called.

    Raises
    ------
    CallError : nothing is there at one of the paths.
    """
    found: dict[str, SoundFile] = {}
    skipped: list[Skipped] = []
    seen: set[tuple[int, int]] = set()
    for named in paths:
        path = Path(named)
        if not path.exists():
            raise CallError("there is no such folder or file", code="no_such_file", where=str(path))
        for entry in _files(path, seen) if path.is_dir() else [look_at(str(path))]:
            if isinstance(entry, Skipped):
                skipped.append(entry)
            else:
                found.setdefault(entry.key[0], entry)
    return tuple(sorted(found.values(), key=lambda f: f.path)), tuple(sorted(skipped, key=lambda s: s.file))


def look_at(path: str) -> SoundFile | Skipped:
    """Return what the disk tells of a file."""
    try:
        told = Path(path).stat()
    except OSError as error:
        return Skipped(path, _why(error))
    return _told(path, told)


def _told(path: str, told: os.stat_result) -> SoundFile | Skipped:
    if not stat.S_ISREG(told.st_mode):
        return Skipped(path, "is no file")
    return SoundFile(path, told.st_size, told.st_mtime_ns, told.st_ino)


def _why(error: OSError) -> str:
    return f"can't be looked at: {error.strerror or type(error).__name__}"


def _files(folder: Path, seen: set[tuple[int, int]]) -> Iterator[SoundFile | Skipped]:
    from gainwright.programme import SUFFIXES

    waiting = [str(folder)]
    while waiting:
        here = waiting.pop()
        try:
            told = Path(here).stat()
            if (told.st_dev, told.st_ino) in seen:
                continue
            seen.add((told.st_dev, told.st_ino))
            with os.scandir(here) as entries:
                listed = sorted(entries, key=lambda entry: entry.name)
        except OSError as error:
            yield Skipped(here, _why(error))
            continue
        for entry in listed:
            if entry.is_dir():
                waiting.append(entry.path)
            elif Path(entry.name).suffix.lower() in SUFFIXES:
                try:
                    yield _told(entry.path, entry.stat())
                except OSError as error:
                    yield Skipped(entry.path, _why(error))
