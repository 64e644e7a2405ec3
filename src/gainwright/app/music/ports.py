"""What scanning music needs from outside: the files, workers that read them, and a cache of the results."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from gainwright.programme import Band, TrackStatistics


@dataclass(frozen=True, slots=True)
class MusicFile:
    """A file as its folder lists it, not opened: its path as it was named and the absolute one, size, time of change, inode."""

    path: str
    absolute: str
    size: int
    mtime_ns: int
    inode: int


@dataclass(frozen=True, slots=True)
class Skipped:
    """A file that is left out, and why, in one sentence."""

    file: str
    why: str


@dataclass(frozen=True, slots=True)
class FoundFiles:
    """The recordings at some paths: the paths as absolute ones, the files and what is left out, sorted by path."""

    roots: tuple[str, ...]
    files: tuple[MusicFile, ...]
    skipped: tuple[Skipped, ...]


@dataclass(frozen=True, slots=True)
class FileTask:
    """One file to read, for these bands; without bands only the digest of its content is wanted.

    `overlapped`: decode on a thread of its own, where a core is free for it. `digested`: work out the digest of the
    content, by which results are kept.
    """

    path: str
    bands: tuple[Band, ...]
    overlapped: bool = False
    digested: bool = True


@dataclass(frozen=True, slots=True)
class Answer:
    """The result of a task: the digest of the file's content ("" if not wanted), and its statistics or why there are none.

    `lasting`: the same content always gives the same reason.
    """

    digest: str
    statistics: TrackStatistics | None = None
    why: str = ""
    lasting: bool = True
    version: int = 0


@dataclass(frozen=True, slots=True)
class StoppedScan:
    """A scan that was begun and not finished: the paths that were named, and every file that was found then, all absolute."""

    roots: tuple[str, ...]
    files: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MusicFolder:
    """A folder that may be scanned: the id and the name that other devices know it by, and its path."""

    id: str
    name: str
    path: str


class MusicFolders(Protocol):
    """Finds the folders that may be scanned."""

    def roots(self, named: Sequence[str]) -> tuple[str, ...]:
        """Return the folders that were named, else the person's own folder of music. CallError: one doesn't exist."""

    def list(self, roots: Sequence[str]) -> list[MusicFolder]:
        """Return each root and the folders directly inside it, sorted by name."""

    def shown(self, file: str, roots: Sequence[str]) -> str:
        """Return the path of a file below a root as other devices may see it."""


class MusicFiles(Protocol):
    """Finds recordings."""

    def find(self, paths: Sequence[str]) -> FoundFiles:
        """Return the recordings in folders and all below them, and files that are named. CallError: a path doesn't exist."""

    def absolute(self, paths: Sequence[str]) -> tuple[str, ...]:
        """Return paths as absolute ones."""

    def again(self, stopped: StoppedScan, paths: Sequence[str]) -> FoundFiles:
        """Return the files of a stopped scan as they are now, with the paths of their folders as they are named now."""


class Workers(Protocol):
    """Read files side by side."""

    @property
    def words(self) -> str:
        """A few words about the workers."""

    @property
    def here(self) -> bool:
        """Whether they run on this machine, with its cache of compiled code."""

    def spare(self, tasks: int) -> bool:
        """Whether each of this many tasks has a second core for itself while as many as possible run side by side."""

    def run(
        self, tasks: Sequence[FileTask], should_stop: Callable[[], bool]
    ) -> Iterator[tuple[FileTask, Answer | None]]:
        """Yield each task with its answer as it is done, None when its worker crashed over it repeatedly.

        Ends early when it should stop, and gives up the tasks that are running. CallError: the workers can't be reached.
        """


class MusicCache(Protocol):
    """Keeps statistics by the content of files; an unchanged file is recognised by path, size, time of change and inode."""

    def known(self, files: Sequence[MusicFile], bands: Sequence[Band]) -> dict[str, Answer]:
        """Return path -> what is kept for the files that are unchanged."""

    def sizes(self) -> set[int]:
        """Return the sizes of all contents that are kept; a file of another size can't be one of them."""

    def content(self, digest: str, bands: Sequence[Band]) -> Answer | None:
        """Return what is kept of a content, by its digest."""

    def keep(self, file: MusicFile, bands: Sequence[Band], answer: Answer) -> None:
        """Keep the answer for a file; it is on the disk when this returns."""

    def begin(self, stopped: StoppedScan) -> None:
        """Record that a scan begins; it counts as stopped until `finish`."""

    def finish(self, roots: Sequence[str]) -> None:
        """Record that the scan of these roots is finished."""

    def stopped(self, roots: Sequence[str]) -> StoppedScan | None:
        """Return the last scan that was stopped, of these roots when any are named."""

    def close(self) -> None:
        """Close it; nothing can be asked of it any more."""
