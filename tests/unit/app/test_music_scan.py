"""Scanning: which files are found, what is cached, damaged files and crashes, and stopping without loss."""

from __future__ import annotations

import functools
import hashlib
import multiprocessing
import os
import sqlite3
import sys
import threading
import time
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
import pytest
import soundfile
from music_tasks import Here, half_an_answer, length, slow

from gainwright import scan_music
from gainwright.adapters.music_cache import SqliteMusicCache, statistics_bytes, statistics_of
from gainwright.adapters.music_files import DiskMusicFiles
from gainwright.adapters.music_reader import read_file
from gainwright.adapters.music_workers import LocalWorkers
from gainwright.app.music.ports import Answer, FileTask, StoppedScan
from gainwright.app.music.scan import Library, ScanProgress, scan
from gainwright.cli import music as music_command
from gainwright.cli.options import with_option
from gainwright.composition import Adapters, compose
from gainwright.errors import CallError
from gainwright.programme import USUAL_BANDS, WITHOUT_COMPILER, Band, analyse_file
from gainwright.web.background import Work
from gainwright.web.music import scans as web_scans

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

RATE_HZ = 8000


@pytest.fixture
def cache(tmp_path: Path) -> Iterator[SqliteMusicCache]:
    """Yield an empty cache."""
    with closing(SqliteMusicCache(tmp_path / "cache")) as opened:
        yield opened


@pytest.fixture
def music(tmp_path: Path) -> Path:
    """Return a folder with three tracks of different lengths, one in a folder of its own."""
    folder = tmp_path / "music"
    (folder / "album").mkdir(parents=True)
    for name, seconds in (("b.wav", 0.6), ("album/c.flac", 0.5), ("a.wav", 0.7)):
        samples = 0.3 * np.random.default_rng(len(name)).standard_normal((round(seconds * RATE_HZ), 2))
        soundfile.write(folder / name, np.clip(samples, -1, 1), RATE_HZ)
    return folder


def _scan(
    folder: Path, cache: SqliteMusicCache | None = None, workers: Here | None = None
) -> tuple[Library, list[str]]:
    workers = workers or Here()
    return scan([str(folder)], bands=USUAL_BANDS, files=DiskMusicFiles(), workers=workers, cache=cache), workers.read


def test_files_are_found_sorted_and_once(music: Path) -> None:
    """Known suffixes in all folders; a link back to the top, a dangling link, a folder named twice."""
    (music / "notes.txt").write_text("x", encoding="utf-8")
    (music / "album" / "up").symlink_to(music)
    (music / "gone.wav").symlink_to(music / "nowhere.wav")
    found = DiskMusicFiles().find([str(music), str(music / "album")])
    assert [Path(f.path).relative_to(music).as_posix() for f in found.files] == ["a.wav", "album/c.flac", "b.wav"]
    assert [(Path(s.file).name, s.why[:19]) for s in found.skipped] == [("gone.wav", "can't be inspected:")]
    with pytest.raises(CallError) as refused:
        DiskMusicFiles().find([str(music / "other")])
    assert refused.value.code == "no_such_file"


def test_scan_without_the_compiler_says_so_once(music: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The extra and the line that installs it are named; the result is there all the same, and nothing is said with it."""
    said: list[str] = []
    files, workers = DiskMusicFiles(), Here()
    monkeypatch.setattr(workers, "here", True)
    monkeypatch.setitem(sys.modules, "numba", None)
    library = scan([str(music)], bands=USUAL_BANDS, files=files, workers=workers, cache=None, note=said.append)
    assert said == [WITHOUT_COMPILER]
    assert 'python -m pip install "gainwright[fast-music]"' in said[0]
    assert len(library.tracks) == 3


def test_an_unchanged_library_is_not_opened_again(music: Path, cache: SqliteMusicCache) -> None:
    """The second scan reads nothing and gives the same; a renamed and a touched file are recognised by their content."""
    first, read = _scan(music, cache)
    assert sorted(read) == ["a.wav", "b.wav", "c.flac"]
    again, read = _scan(music, cache)
    assert (read, again.reused) == ([], 3)
    for one, other in zip(first.tracks, again.tracks, strict=True):
        assert one.file == other.file
        assert repr(one.statistics) == repr(other.statistics)
    (music / "b.wav").rename(music / "renamed.wav")
    os.utime(music / "a.wav", ns=(1, 1))
    moved, read = _scan(music, cache)
    assert (read, moved.reused) == ([], 3)
    assert [Path(t.file).name for t in moved.tracks] == ["a.wav", "c.flac", "renamed.wav"]
    soundfile.write(music / "a.wav", np.zeros((100, 2)), RATE_HZ)
    assert _scan(music, cache)[1] == ["a.wav"]
    whole = scan([str(music)], bands=(Band("full"),), files=DiskMusicFiles(), workers=(workers := Here()), cache=cache)
    assert (len(whole.tracks[0].statistics.bands), len(workers.read)) == (1, 3)


def test_cached_statistics_are_identical(music: Path) -> None:
    """Every figure and count survives caching, infinite ones too; damaged bytes are refused."""
    for path in (music / "a.wav", music / "silent.wav"):
        if not path.exists():
            soundfile.write(path, np.zeros((4000, 1)), RATE_HZ)
        found = analyse_file(path)
        assert found is not None
        back = statistics_of(statistics_bytes(found))
        assert repr(back) == repr(found)
        for one, other in zip(back.bands, found.bands, strict=True):
            assert np.array_equal(one.levels, other.levels)
            assert np.array_equal(one.power_1s, other.power_1s)
            assert np.array_equal(one.power_100ms, other.power_100ms)
    with pytest.raises(ValueError, match="damaged"):
        statistics_of(b"nothing")


def test_unreadable_files_are_skipped_with_the_reason(music: Path, cache: SqliteMusicCache) -> None:
    """Empty, truncated, not sound, not a number: each is reported, none stops the scan or is tried again."""
    whole = (music / "b.wav").read_bytes()
    (music / "empty.mp3").write_bytes(b"")
    (music / "fake.flac").write_text("this is no sound at all, only words", encoding="utf-8")
    (music / "short.wav").write_bytes(whole[: len(whole) // 2])
    samples = np.zeros(4000, dtype=np.float32)
    samples[77] = np.nan
    soundfile.write(music / "nan.wav", samples, RATE_HZ, subtype="FLOAT")
    found, _ = _scan(music, cache)
    reasons = {Path(s.file).name: s.why for s in found.skipped}
    assert sorted(reasons) == ["empty.mp3", "fake.flac", "nan.wav", "short.wav"]
    assert all(len(why.split()) > 1 and "Error" not in why for why in reasons.values()), reasons
    assert len(found.tracks) == 3
    again, read = _scan(music, cache)
    assert (read, {Path(s.file).name: s.why for s in again.skipped}) == ([], reasons)


def test_digest_is_computed_only_with_a_cache(music: Path, cache: SqliteMusicCache) -> None:
    """SHA-256 of a 24-bit FLAC takes an eighth of the scan; without a cache it isn't needed."""
    workers = Here()
    _scan(music, None, workers)
    assert workers.digests == ["", "", ""]
    workers = Here()
    _scan(music, cache, workers)
    names = ("a.wav", "b.wav", "album/c.flac")
    assert sorted(workers.digests) == sorted(hashlib.sha256((music / n).read_bytes()).hexdigest() for n in names)


def test_file_that_vanishes_or_changes_is_reported_and_not_cached(music: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that is gone when its turn comes is skipped; one that is written to while it is read isn't cached."""
    assert read_file(FileTask(str(music / "gone.wav"), USUAL_BANDS)).why.startswith("can't be read")

    def write_on(path: Path, bands: tuple[Band, ...], *, overlapped: bool) -> None:
        del bands, overlapped
        with path.open("ab") as file:
            file.write(b"more")

    monkeypatch.setattr("gainwright.programme.analyse_file", write_on)
    answer = read_file(FileTask(str(music / "a.wav"), USUAL_BANDS))
    assert (answer.digest, answer.why) == ("", "was changed while it was read")
    monkeypatch.setattr("gainwright.programme.analyse_file", lambda *_, **__: 1 / 0)
    answer = read_file(FileTask(str(music / "b.wav"), USUAL_BANDS))
    assert (answer.lasting, answer.why) == (False, "can't be analysed (ZeroDivisionError: division by zero)")


def test_stopped_scan_is_resumed(music: Path, cache: SqliteMusicCache) -> None:
    """Finished results stay; the same files are continued with, and a file added later isn't among them."""
    seen: list[ScanProgress] = []
    stopped = scan(
        [str(music)], bands=USUAL_BANDS, files=DiskMusicFiles(), workers=Here(), cache=cache, on_progress=seen.append,
        should_stop=lambda: bool(seen) and seen[-1].done >= 1,
    )  # fmt: skip
    assert (stopped.stopped, len(stopped.tracks), stopped.total) == (True, 1, 3)
    assert (seen[0].done, seen[0].left_s, seen[0].share) == (0, None, 0.0)
    assert seen[-1].left_s is not None
    soundfile.write(music / "later.wav", np.zeros(100), RATE_HZ)
    later: list[ScanProgress] = []
    whole = scan(
        [],
        bands=USUAL_BANDS,
        files=DiskMusicFiles(),
        workers=(workers := Here()),
        cache=cache,
        resume=True,
        on_progress=later.append,
    )
    assert (later[0].done, len(workers.read), len(whole.tracks), whole.stopped) == (1, 2, 3, False)
    assert later[-1].share == pytest.approx(1.0)
    with pytest.raises(CallError) as refused:
        scan([], bands=USUAL_BANDS, files=DiskMusicFiles(), workers=Here(), cache=cache, resume=True)
    assert refused.value.code == "nothing_stopped"
    scan([str(music)], bands=USUAL_BANDS, files=DiskMusicFiles(), workers=Here(), cache=cache, should_stop=lambda: True)
    assert cache.stopped([str(music)]) == StoppedScan((str(music),), tuple(sorted(map(str, music.rglob("*.*")))))


def test_folder_without_recordings_is_refused(tmp_path: Path) -> None:
    """Whether it is empty or has other files."""
    for paths, code in (([], "no_folder"), ([str(tmp_path)], "no_recordings")):
        with pytest.raises(CallError) as refused:
            scan(paths, bands=USUAL_BANDS, files=DiskMusicFiles(), workers=Here())
        assert refused.value.code == code


def test_unwritable_cache_folder_is_refused_at_once(tmp_path: Path) -> None:
    """The error says where and how to fix it."""
    tmp_path.chmod(0o500)
    # for root every folder can be written but those of the kernel
    folder = tmp_path / "cache" if os.geteuid() else Path("/proc/gainwright")
    with pytest.raises(CallError) as refused:
        SqliteMusicCache(folder)
    assert refused.value.code == "no_cache"


def test_invalid_cache_is_refused(tmp_path: Path) -> None:
    """A file in place of the folder, and text in place of the cache, each give one sentence."""
    (tmp_path / "file").write_text("x", encoding="utf-8")
    (tmp_path / "cache").mkdir()
    (tmp_path / "cache" / "music.sqlite").write_text("no database, only words" * 99, encoding="utf-8")
    for folder in (tmp_path / "file", tmp_path / "cache"):
        with pytest.raises(CallError) as refused:
            SqliteMusicCache(folder)
        assert "use no cache" in refused.value.remedy
        assert "--no-cache" in with_option(refused.value).remedy


class CountedConnection(sqlite3.Connection):
    """A connection that says when it is closed."""

    closed: ClassVar[list[CountedConnection]] = []

    def close(self) -> None:
        """Close it."""
        self.closed.append(self)
        super().close()


def test_cache_of_another_version_is_closed_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A cache that can't be used is refused, and its file isn't kept open."""
    with closing(sqlite3.connect(tmp_path / "music.sqlite")) as other:
        other.execute("pragma user_version = 99")
    monkeypatch.setattr(sqlite3, "connect", functools.partial(sqlite3.connect, factory=CountedConnection))
    monkeypatch.setattr(CountedConnection, "closed", [])
    with pytest.raises(CallError, match="layout 99"):
        SqliteMusicCache(tmp_path)
    assert len(CountedConnection.closed) == 1


def test_every_scan_closes_its_cache(monkeypatch: pytest.MonkeyPatch) -> None:
    """That of the command, of Python and of the web app, also when the scan fails."""
    opened = []

    class Opened:
        def __init__(self) -> None:
            self.closed = False
            opened.append(self)

        def close(self) -> None:
            self.closed = True

    def failing(*_: object, cache: Opened, **_options: object) -> None:
        assert not cache.closed
        raise CallError("the workers can't be reached", code="no_workers")

    monkeypatch.setattr("gainwright.app.music.scan.scan", failing)
    monkeypatch.setattr(Adapters, "music_cache", lambda _self: Opened())
    world = compose()
    site: Any = SimpleNamespace(world=world, music=())
    attempts: list[Callable[[], object]] = [
        lambda: scan_music(["."]),
        lambda: music_command._found(world, [Path()], None, 0.1, -20.0, 1, "", no_cache=False, resume=False),
        lambda: web_scans._scan(site, Work("", "", ""), ["."], None),
    ]
    for attempt in attempts:
        with pytest.raises(CallError, match="can't be reached"):
            attempt()
    assert [one.closed for one in opened] == [True, True, True]


def test_crashing_process_costs_one_file_only(tmp_path: Path) -> None:
    """A reader that crashes on a file takes no other result with it; one killed by chance is tried again."""
    names = ["a", "b", "die", "c", "once", "d"]
    tasks = [FileTask(str(tmp_path / name), ()) for name in names]
    for task in tasks:
        Path(task.path).write_text(Path(task.path).name, encoding="utf-8")
    found = {Path(t.path).name: a and a.digest for t, a in LocalWorkers(2, read=length).run(tasks, lambda: False)}
    assert found == {name: None if name == "die" else name for name in names}


def test_processes_that_always_crash_are_reported(tmp_path: Path) -> None:
    """When every file seems to crash its reader from the beginning, the files aren't the reason."""
    tasks = [FileTask(str(tmp_path / f"die{i}"), ()) for i in range(8)]
    with pytest.raises(CallError) as refused:
        list(LocalWorkers(2, read=length).run(tasks, lambda: False))
    assert refused.value.code == "no_processes"


def test_processes_are_ended_on_stop(tmp_path: Path) -> None:
    """A file that takes a minute isn't waited for: its process ends before it can finish."""
    done: list[Answer | None] = []
    others = multiprocessing.active_children()  # another test's, that this test process may still hold
    tasks = [FileTask(str(tmp_path / "quick"), ()), FileTask(str(tmp_path / "slow"), ())]
    for _, answer in LocalWorkers(2, read=slow).run(tasks, lambda: bool(done)):
        done.append(answer)
    assert [a and Path(a.digest).name for a in done] == ["quick"]
    assert [process for process in multiprocessing.active_children() if process not in others] == []
    assert not (tmp_path / "slow").exists()


def test_process_killed_while_answering_is_not_waited_for(tmp_path: Path) -> None:
    """Ctrl-C ends a scan even while a result is being transferred: no thread is left waiting for the rest."""
    before = set(threading.enumerate())
    path = tmp_path / "begun"
    began_s = time.monotonic()

    def stop() -> bool:
        return path.exists() and time.monotonic() - began_s > 0.3

    assert list(LocalWorkers(1, read=half_an_answer).run([FileTask(str(path), ())], stop)) == []
    left = [thread for thread in threading.enumerate() if thread not in before]
    for thread in left:
        thread.join(10)
    assert not any(thread.is_alive() for thread in left)


def test_decoding_has_its_own_thread_when_a_core_is_free(monkeypatch: pytest.MonkeyPatch) -> None:
    """With at most half as many files at once as there are cores; never when every core has its file."""
    monkeypatch.setattr("gainwright.adapters.music_workers.cores", lambda: 4)
    assert [LocalWorkers().spare(tasks) for tasks in (1, 2, 3, 100)] == [True, True, False, False]
    assert LocalWorkers(2).spare(100)
    assert not LocalWorkers(3).spare(100)
