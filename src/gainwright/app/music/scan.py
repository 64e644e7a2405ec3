"""Scanning a music library: each file once, side by side, kept results reused, stopped at any time without loss."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.app.music.ports import Answer, FileTask, FoundFiles, Skipped, StoppedScan
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from gainwright.app.music.ports import MusicCache, MusicFile, MusicFiles, Workers
    from gainwright.programme import Band, TrackStatistics

CRASHED = "can't be read: the reader crashed over it repeatedly"


@dataclass(frozen=True, slots=True)
class ScannedTrack:
    """A file that was read, and what it holds."""

    file: str
    statistics: TrackStatistics


@dataclass(frozen=True, slots=True)
class ScanProgress:
    """How far a scan is.

    Attributes
    ----------
    done, total : files.
    reused : of those done, how many were known from before.
    file : the one done last, empty at the beginning.
    share : 0 .. 1, by size of what has to be read.
    left_s : time left; None while it isn't known.
    """

    done: int
    total: int
    reused: int
    file: str
    share: float
    left_s: float | None


@dataclass(frozen=True, slots=True)
class Library:
    """The result of a scan: tracks and skipped files by path, how many were known from before, whether it was stopped."""

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
    paths: Sequence[str],
    *,
    bands: Sequence[Band],
    files: MusicFiles,
    workers: Workers,
    cache: MusicCache | None = None,
    resume: bool = False,
    on_progress: Callable[[ScanProgress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
    note: Callable[[str], None] | None = None,
) -> Library:
    """Return what the recordings at paths hold, band by band.

    Parameters
    ----------
    files, cache : where recordings are found, and where results are kept and reused; without a cache nothing is.
    resume : go on with the scan of these paths (of any when none are named) that was stopped, over the same files.
    on_progress : called at the beginning and after each file.
    note : called with a message about what takes its time, as the first compilation.
    should_stop : called after each file and several times a second; when true, the scan ends with `stopped`.

    Raises
    ------
    CallError : a path doesn't exist, there are no recordings, no scan was stopped, or the workers can't be reached.
    """
    files_found = _resumed(paths, files, cache) if resume else _found(paths, files)
    running = _Scan(tuple(bands), files_found, cache, on_progress or (lambda _: None), should_stop or (lambda: False))
    if cache is not None:
        cache.begin(StoppedScan(files_found.roots, tuple(file.absolute for file in files_found.files)))
    running.look_up()
    stopped = running.read(workers, note or (lambda _: None))
    if cache is not None and not stopped:
        cache.finish(files_found.roots)
    return running.library(stopped=stopped)


def _resumed(paths: Sequence[str], files: MusicFiles, cache: MusicCache | None) -> FoundFiles:
    stopped = None if cache is None else cache.stopped(files.absolute(paths))
    if stopped is None:
        raise CallError(
            "there is no interrupted scan" + (f" of {', '.join(paths)}" if paths else ""),
            code="nothing_stopped",
            where="scan to resume",
            remedy="name the folders and start again; files read before are reused",
        )
    return files.again(stopped, paths)


def _found(paths: Sequence[str], files: MusicFiles) -> FoundFiles:
    if not paths:
        raise CallError("no folder is named", code="no_folder", remedy="name the folders that the music is in")
    files_found = files.find(paths)
    if not files_found.files:
        raise CallError(
            "there are no recordings",
            code="no_recordings",
            where=", ".join(paths),
            rule="recordings are WAV, AIFF, FLAC, OGG, Opus, MP3, AAC and M4A files",
            remedy="name another folder",
        )
    return files_found


class _Scan:
    """One scan as it goes on: what is done, what is left, and the progress reports."""

    def __init__(
        self,
        bands: tuple[Band, ...],
        found: FoundFiles,
        cache: MusicCache | None,
        on_progress: Callable[[ScanProgress], None],
        should_stop: Callable[[], bool],
    ) -> None:
        self.bands, self.cache, self.on_progress, self.should_stop = bands, cache, on_progress, should_stop
        self.files = {file.path: file for file in found.files}
        self.answers: dict[str, Answer] = {}
        self.skipped = list(found.skipped)
        self.reused = 0
        self.to_read, self.was_read, self.began_s = 0, 0, 0.0

    def look_up(self) -> None:
        """Reuse what is kept of unchanged files."""
        if self.cache is not None:
            self.answers = self.cache.known(tuple(self.files.values()), self.bands)
            self.reused = len(self.answers)
        self.to_read = sum(file.size for path, file in self.files.items() if path not in self.answers)
        self.began_s = time.monotonic()
        self._report("")

    def read(self, workers: Workers, note: Callable[[str], None]) -> bool:
        """Read what is left, largest first so that all end together; return whether it was stopped."""
        from gainwright.programme import (
            ANALYSIS_VERSION,
            WITHOUT_COMPILER,
            has_compiler,
            kernel_is_cached,
            load_kernel,
        )

        self._reuse_moved(workers)
        if workers.here and len(self.answers) < len(self.files):
            if not has_compiler():
                note(WITHOUT_COMPILER)
            elif not kernel_is_cached():
                load_kernel(note)  # before there are several processes that would all compile it
        for task, answer in self._run(workers, self._left(), self.bands):
            result = answer if answer is not None else Answer("", why=CRASHED, lasting=False)
            if answer is not None and answer.version != ANALYSIS_VERSION:
                raise CallError(
                    "its workers run another version of Gainwright",
                    code="other_version",
                    where="cluster",
                    remedy="install the same version there",
                )
            self._done(task.path, result)
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

    def _left(self) -> list[MusicFile]:
        left = [file for path, file in self.files.items() if path not in self.answers]
        return sorted(left, key=lambda file: (-file.size, file.path))

    def _reuse_moved(self, workers: Workers) -> None:
        """Reuse what is kept of files that were only moved or touched: a size that is kept is worth a digest of the content."""
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
        self, workers: Workers, files: Sequence[MusicFile], bands: tuple[Band, ...]
    ) -> Iterator[tuple[FileTask, Answer | None]]:
        if files and not self.should_stop():
            overlapped, digested = workers.spare(len(files)), self.cache is not None
            tasks = [FileTask(file.path, bands, overlapped, digested) for file in files]
            yield from workers.run(tasks, self.should_stop)

    def _done(self, path: str, answer: Answer) -> None:
        self.answers[path] = answer
        if self.cache is not None and answer.digest and (answer.statistics is not None or answer.lasting):
            self.cache.keep(self.files[path], self.bands, answer)
        self.was_read += self.files[path].size
        self._report(path)

    def _report(self, path: str) -> None:
        took_s = time.monotonic() - self.began_s
        left_s = took_s * (self.to_read / self.was_read - 1) if self.was_read else None
        share = self.was_read / self.to_read if self.to_read else 1.0
        self.on_progress(ScanProgress(len(self.answers), len(self.files), self.reused, path, share, left_s))
