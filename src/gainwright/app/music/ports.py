"""What scanning music needs from outside: somebody to do the work, and a place that keeps what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from gainwright.app.music.files import SoundFile
    from gainwright.programme import Band, TrackStatistics


@dataclass(frozen=True, slots=True)
class Task:
    """One file to be read, for these bands; without bands only its content is to be told.

    `overlapped`: decoding on a thread of its own, where a core is free for it.
    """

    path: str
    bands: tuple[Band, ...]
    overlapped: bool = False


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of a file: the digest of its content, and its statistics or why there are none.

    `lasting`: the same content will always give the same reason.
    """

    digest: str
    statistics: TrackStatistics | None = None
    why: str = ""
    lasting: bool = True
    version: int = 0


@dataclass(frozen=True, slots=True)
class Stopped:
    """A scan that was begun and not finished: what was named, and every file that was found then."""

    roots: tuple[str, ...]
    files: tuple[str, ...]


class Workers(Protocol):
    """Does tasks side by side."""

    @property
    def words(self) -> str:
        """Who they are, in a few words."""

    @property
    def here(self) -> bool:
        """Whether they are of this machine, with its cache of compiled code."""

    def spare(self, tasks: int) -> bool:
        """Whether each of so many tasks, done side by side as far as it goes, has a second core for itself."""

    def run(
        self, do: Callable[[Task], Answer], tasks: Sequence[Task], should_stop: Callable[[], bool]
    ) -> Iterator[tuple[Task, Answer | None]]:
        """Yield each task with its answer as it is done, None when whoever did it broke down over it, again and again.

        Ends early when it should stop; what is being done then is given up. CallError: the workers can't be reached.
        """


class MusicCache(Protocol):
    """Keeps what files hold, by content; files are known again by path, size, time and number."""

    def known(self, files: Sequence[SoundFile], bands: Sequence[Band]) -> dict[str, Answer]:
        """Return path -> what is kept for the files that are unchanged."""

    def sizes(self) -> set[int]:
        """Return the sizes of all contents that are kept: a file of another size holds none of them."""

    def content(self, digest: str, bands: Sequence[Band]) -> Answer | None:
        """Return what is kept of a content."""

    def keep(self, file: SoundFile, bands: Sequence[Band], answer: Answer) -> None:
        """Keep what came of a file, at once and for good."""

    def begin(self, stopped: Stopped) -> None:
        """Write down that a scan begins; it counts as stopped until `finish`."""

    def finish(self, roots: Sequence[str]) -> None:
        """Write down that the scan of these roots is finished."""

    def stopped(self, roots: Sequence[str]) -> Stopped | None:
        """Return the last scan that was stopped, of these roots when any are named."""
