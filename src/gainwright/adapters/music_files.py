"""Recordings in folders: found recursively, sorted, each once, from directory listings, without opening a file."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright.app.music.ports import FoundFiles, MusicFile, Skipped
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from gainwright.app.music.ports import StoppedScan


class DiskMusicFiles:
    """Recordings on the disks of this machine."""

    def find(self, paths: Sequence[str]) -> FoundFiles:
        """Return the recordings at some paths; circular links are followed once.

        In folders, recordings are recognised by their suffix (`programme.SUFFIXES`); a file given by name is tried
        whatever its suffix.

        Raises
        ------
        CallError : a path doesn't exist.
        """
        seen: set[tuple[int, int]] = set()
        entries: list[MusicFile | Skipped] = []
        for named in paths:
            path = Path(named)
            if not path.exists():
                raise CallError("there is no such folder or file", code="no_such_file", where=str(path))
            entries += _in_folder(path, seen) if path.is_dir() else [_inspect(str(path))]
        return self._found(paths, entries)

    def absolute(self, paths: Sequence[str]) -> tuple[str, ...]:
        """Return paths as absolute ones."""
        return tuple(str(Path(path).absolute()) for path in paths)

    def again(self, stopped: StoppedScan, paths: Sequence[str]) -> FoundFiles:
        """Return the files of a stopped scan as they are now; see the port."""
        return self._found(stopped.roots, [_inspect(_as_named(path, paths)) for path in stopped.files])

    def _found(self, paths: Sequence[str], entries: Iterable[MusicFile | Skipped]) -> FoundFiles:
        files: dict[str, MusicFile] = {}
        skipped = []
        for entry in entries:
            if isinstance(entry, Skipped):
                skipped.append(entry)
            else:
                files.setdefault(entry.absolute, entry)
        return FoundFiles(
            self.absolute(paths),
            tuple(sorted(files.values(), key=lambda f: f.path)),
            tuple(sorted(skipped, key=lambda s: s.file)),
        )


def _as_named(path: str, roots: Sequence[str]) -> str:
    """Return a file's absolute path relative to the folder as the user has named it."""
    for root in roots:
        absolute = Path(root).absolute()
        if Path(path).is_relative_to(absolute):
            return str(Path(root) / Path(path).relative_to(absolute))
    return path


def _inspect(path: str) -> MusicFile | Skipped:
    try:
        return _listed(path, Path(path).stat())
    except OSError as error:
        return Skipped(path, _why(error))


def _listed(path: str, status: os.stat_result) -> MusicFile | Skipped:
    if not stat.S_ISREG(status.st_mode):
        return Skipped(path, "is not a file")
    return MusicFile(path, str(Path(path).absolute()), status.st_size, status.st_mtime_ns, status.st_ino)


def _why(error: OSError) -> str:
    return f"can't be inspected: {error.strerror or type(error).__name__}"


def _in_folder(folder: Path, seen: set[tuple[int, int]]) -> Iterator[MusicFile | Skipped]:
    from gainwright.programme import SUFFIXES

    waiting = [str(folder)]
    while waiting:
        here = waiting.pop()
        try:
            status = Path(here).stat()
            if (status.st_dev, status.st_ino) in seen:
                continue
            seen.add((status.st_dev, status.st_ino))
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
                    yield _listed(entry.path, entry.stat())
                except OSError as error:
                    yield Skipped(entry.path, _why(error))
