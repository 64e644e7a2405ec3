"""Scanning a library: each file once, side by side, what is kept reused, stopped at any time without loss."""

from __future__ import annotations

import hashlib
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright.app.music.files import Skipped, SoundFile, find_files, look_at
from gainwright.app.music.ports import Answer, Stopped, Task
from gainwright.errors import CallError, RecordingError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from gainwright.app.music.ports import MusicCache, Workers
    from gainwright.programme import Band, TrackStatistics

BROKE_DOWN = "can't be read: the reader broke down over it again and again"
_BLOCK = 1 << 20


@dataclass(frozen=True, slots=True)
class ScannedTrack:
    """A file that was read, and what it holds."""

    file: str
    statistics: TrackStatistics


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a scan is.

    Attributes
    ----------
    done, total : files.
    reused : of those done, how many were known from before.
    file : the one done last, empty at the beginning.
    share : 0 .. 1, by size of what has to be read.
    left_s : time left; None while it can't be told.
    """

    done: int
    total: int
    reused: int
    file: str
    share: float
    left_s: float | None


@dataclass(frozen=True, slots=True)
class Library:
    """What a scan found: tracks and skipped files by path, how many were known from before, and whether it was stopped."""

    tracks: tuple[ScannedTrack, ...]
    skipped: tuple[Skipped, ...]
    reused: int
    total: int
    stopped: bool = False

    @property
    def seconds(self) -> float:
        """Play time of all tracks."""
        return sum(track.statistics.seconds for track in self.tracks)


def scan(
    paths: Sequence[Path | str],
    *,
    bands: Sequence[Band],
    workers: Workers,
    cache: MusicCache | None = None,
    resume: bool = False,
    on_progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
    note: Callable[[str], None] | None = None,
) -> Library:
    """Return what the recordings at paths hold, band by band.

    Parameters
    ----------
    cache : where results are kept and found again; None keeps nothing.
    resume : go on with the scan of these paths (of any when none are named) that was stopped, over the same files.
    on_progress : called at the beginning and after each file.
    note : told what takes its time or goes another way, as the first compilation.
    should_stop : asked after each file and several times a second; the scan then ends with `stopped`.

    Raises
    ------
    CallError : nothing is there at a path, no recordings are, no scan was stopped, or the workers can't be reached.
    """
    files, skipped, roots = _listed(paths, cache, resume=resume)
    running = _Running(tuple(bands), files, cache, on_progress or (lambda _: None), should_stop or (lambda: False))
    running.skipped += skipped
    if cache is not None:
        cache.begin(Stopped(roots, tuple(file.key[0] for file in files)))
    running.look_up()
    stopped = running.read(workers, note or (lambda _: None))
    if cache is not None and not stopped:
        cache.finish(roots)
    return running.library(stopped=stopped)


def _listed(
    paths: Sequence[Path | str], cache: MusicCache | None, *, resume: bool
) -> tuple[tuple[SoundFile, ...], tuple[Skipped, ...], tuple[str, ...]]:
    roots = tuple(str(Path(path).absolute()) for path in paths)
    if resume:
        stopped = None if cache is None else cache.stopped(roots)
        if stopped is None:
            raise CallError(
                "no scan was stopped" + (f" of {', '.join(map(str, paths))}" if paths else ""),
                code="nothing_stopped",
                where="scan to go on with",
                remedy="name the folders and begin anew; what was read before is reused anyway",
            )
        looked = [look_at(_as_named(path, paths)) for path in stopped.files]
        there = tuple(f for f in looked if isinstance(f, SoundFile))
        return there, tuple(f for f in looked if isinstance(f, Skipped)), stopped.roots
    if not paths:
        raise CallError("no folder is named", code="no_folder", remedy="name the folders that the music is in")
    files, skipped = find_files(paths)
    if not files:
        raise CallError(
            "there are no recordings",
            code="no_recordings",
            where=", ".join(map(str, paths)),
            rule="recordings are WAV, AIFF, FLAC, OGG, Opus, MP3, AAC and M4A files",
            remedy="name another folder",
        )
    return files, skipped, roots


def _as_named(path: str, roots: Sequence[Path | str]) -> str:
    """Return a file's absolute path as it is called when the folder it is in is named as it is now."""
    for root in roots:
        absolute = Path(root).absolute()
        if Path(path).is_relative_to(absolute):
            return str(Path(root) / Path(path).relative_to(absolute))
    return path


class _Running:
    """One scan: what is done, what is left, and telling of it."""

    def __init__(
        self,
        bands: tuple[Band, ...],
        files: Sequence[SoundFile],
        cache: MusicCache | None,
        tell: Callable[[Progress], None],
        should_stop: Callable[[], bool],
    ) -> None:
        self.bands, self.cache, self.tell, self.should_stop = bands, cache, tell, should_stop
        self.files = {file.path: file for file in files}
        self.answers: dict[str, Answer] = {}
        self.skipped: list[Skipped] = []
        self.reused = 0
        self.to_read, self.was_read, self.began_s = 0, 0, 0.0

    def look_up(self) -> None:
        """Take what is kept of unchanged files."""
        if self.cache is not None:
            self.answers = self.cache.known(tuple(self.files.values()), self.bands)
            self.reused = len(self.answers)
        self.to_read = sum(file.size for path, file in self.files.items() if path not in self.answers)
        self.began_s = time.monotonic()
        self._say("")

    def read(self, workers: Workers, note: Callable[[str], None]) -> bool:
        """Read what is left, largest first so that all end together; return whether it was stopped."""
        from gainwright.programme import ANALYSIS_VERSION, is_kept, load

        self._moved(workers)
        if workers.here and len(self.answers) < len(self.files) and not is_kept():
            load(note)  # before there are several processes that would all compile it
        for task, answer in self._run(workers, self._left(), self.bands):
            found = answer if answer is not None else Answer("", why=BROKE_DOWN, lasting=False)
            if answer is not None and answer.version != ANALYSIS_VERSION:
                raise CallError(
                    "its workers run another version of this program",
                    code="other_version",
                    where="cluster",
                    remedy="install the same version there",
                )
            self._done(task.path, found)
        return len(self.answers) < len(self.files)

    def library(self, *, stopped: bool) -> Library:
        """Return what was found so far."""
        tracks, skipped = [], list(self.skipped)
        for path in self.files:
            answer = self.answers.get(path)
            if answer is not None and answer.statistics is not None:
                tracks.append(ScannedTrack(path, answer.statistics))
            elif answer is not None:
                skipped.append(Skipped(path, answer.why))
        skipped.sort(key=lambda s: s.file)
        return Library(tuple(tracks), tuple(skipped), self.reused, len(self.files), stopped)

    def _left(self) -> list[SoundFile]:
        left = [file for path, file in self.files.items() if path not in self.answers]
        return sorted(left, key=lambda file: (-file.size, file.path))

    def _moved(self, workers: Workers) -> None:
        """Find files that only moved or were touched: those of a size that is kept are told by their content first."""
        if self.cache is None:
            return
        sizes = self.cache.sizes()
        suspects = [file for file in self._left() if file.size in sizes]
        for task, answer in self._run(workers, suspects, ()):
            kept = self.cache.content(answer.digest, self.bands) if answer is not None and answer.digest else None
            if kept is not None:
                self.reused += 1
                self._done(task.path, kept)

    def _run(
        self, workers: Workers, files: Sequence[SoundFile], bands: tuple[Band, ...]
    ) -> Iterator[tuple[Task, Answer | None]]:
        if files and not self.should_stop():
            tasks = [Task(file.path, bands, workers.spare(len(files))) for file in files]
            yield from workers.run(look, tasks, self.should_stop)

    def _done(self, path: str, answer: Answer) -> None:
        self.answers[path] = answer
        if self.cache is not None and answer.digest and (answer.statistics is not None or answer.lasting):
            self.cache.keep(self.files[path], self.bands, answer)
        self.was_read += self.files[path].size
        self._say(path)

    def _say(self, path: str) -> None:
        took_s = time.monotonic() - self.began_s
        left_s = took_s * (self.to_read / self.was_read - 1) if self.was_read else None
        share = self.was_read / self.to_read if self.to_read else 1.0
        self.tell(Progress(len(self.answers), len(self.files), self.reused, path, share, left_s))


def look(task: Task) -> Answer:
    """Read one file: the digest of its content, and what it holds or why that can't be told.

    Raises
    ------
    CallError : nothing can be analysed here, whatever the file.
    """
    from gainwright.programme import ANALYSIS_VERSION, analyse_file

    digest, statistics, why, lasting = "", None, "", False
    try:
        before = Path(task.path).stat()
        digest = _digest(task.path)
        if task.bands:
            statistics = analyse_file(Path(task.path), task.bands, overlapped=task.overlapped)
        after = Path(task.path).stat()
        if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
            digest, statistics, why = "", None, "was changed while it was read"
    except CallError:
        raise
    except RecordingError as error:
        why, lasting = error.what, True
    except OSError as error:
        why = f"can't be read: {error.strerror or type(error).__name__}"
    except MemoryError:
        why = "can't be read: not enough memory"
    except Exception as error:  # noqa: BLE001  one odd file must not end the scan of a library; it is told in the result
        why = f"can't be analysed ({type(error).__name__}: {error})"
    return Answer(digest, statistics, why, lasting, ANALYSIS_VERSION)


def _digest(path: str) -> str:
    found = hashlib.sha256()
    with Path(path).open("rb", buffering=0) as file:
        while block := file.read(_BLOCK):
            found.update(block)
    return found.hexdigest()
