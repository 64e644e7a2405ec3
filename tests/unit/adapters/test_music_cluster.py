"""A Dask cluster gives the same results as this machine, even if a worker is killed; errors in one sentence."""

from __future__ import annotations

import os
import signal
import sys
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile
from music_tasks import length

from gainwright.adapters.music_cluster import ClusterWorkers
from gainwright.adapters.music_files import DiskMusicFiles
from gainwright.adapters.music_workers import LocalWorkers
from gainwright.app.music.ports import FileTask
from gainwright.app.music.scan import scan
from gainwright.errors import CallError
from gainwright.programme import USUAL_BANDS

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from distributed import LocalCluster

TRACKS = 10
pytestmark = pytest.mark.filterwarnings("ignore")  # of the cluster's own sockets when a worker is killed


@pytest.fixture(scope="module")
def cluster() -> Iterator[LocalCluster]:
    """Start a scheduler with two workers, each a separate process."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as started:
        yield started


@pytest.fixture(scope="module")
def music(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with tracks of noise, and a file that is no music."""
    folder = tmp_path_factory.mktemp("music")
    for i in range(TRACKS):
        samples = np.random.default_rng(i).normal(0, 0.05 * (i + 1), (44_100 * (3 + i), 2))
        soundfile.write(folder / f"{i}.flac", np.clip(samples, -1, 1), 44_100)
    (folder / "empty.wav").write_bytes(b"")
    return folder


def test_cluster_gives_the_same_results_when_a_worker_is_killed(cluster: LocalCluster, music: Path) -> None:
    """Every figure is that of the local run; killing a worker after the first answer loses nothing."""
    killed: list[int] = []

    def kill_one(progress: object) -> None:
        if getattr(progress, "file", "") and not killed:
            killed.append(next(iter(cluster.workers.values())).pid)
            os.kill(killed[0], signal.SIGKILL)

    far = scan(
        [str(music)],
        bands=USUAL_BANDS,
        files=DiskMusicFiles(),
        workers=ClusterWorkers(cluster.scheduler_address),
        on_progress=kill_one,
    )
    near = scan([str(music)], bands=USUAL_BANDS, files=DiskMusicFiles(), workers=LocalWorkers(1))
    assert len(killed) == 1
    assert (len(far.tracks), len(far.skipped)) == (TRACKS, 1)
    assert far.skipped == near.skipped
    for one, other in zip(far.tracks, near.tracks, strict=True):
        assert one.file == other.file
        assert repr(one.statistics) == repr(other.statistics)
        for a, b in zip(one.statistics.bands, other.statistics.bands, strict=True):
            assert np.array_equal(a.levels, b.levels)
            assert np.array_equal(a.power_1s, b.power_1s)


def test_file_that_kills_every_worker_is_given_up(cluster: LocalCluster, tmp_path: Path) -> None:
    """It has no result, all others have; identical calls are all run, none answered from the scheduler's memory."""
    tasks = [FileTask(str(tmp_path / name), ()) for name in ("a", "die", "b")]
    for task in tasks:
        (tmp_path / task.path).write_text(task.path, encoding="utf-8")
    found = ClusterWorkers(cluster.scheduler_address, read=length).run(tasks, lambda: False)
    assert {t.path: a and a.digest for t, a in found} == {t.path: None if "die" in t.path else t.path for t in tasks}


def test_cluster_stops_on_request(cluster: LocalCluster, music: Path) -> None:
    """After the first answer nothing more is read."""
    seen: list[object] = []
    found = scan(
        [str(music)], bands=USUAL_BANDS, files=DiskMusicFiles(), workers=ClusterWorkers(cluster.scheduler_address),
        on_progress=seen.append, should_stop=lambda: len(seen) > 1,
    )  # fmt: skip
    assert (found.stopped, len(found.tracks) + len(found.skipped)) == (True, 1)


def test_scheduler_without_workers_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    """After waiting for some time."""
    distributed = pytest.importorskip("distributed")
    monkeypatch.setattr("gainwright.adapters.music_cluster._TIMEOUT_S", 1)
    with distributed.LocalCluster(n_workers=0, dashboard_address=None, silence_logs=50) as empty:
        with pytest.raises(CallError) as refused:
            list(ClusterWorkers(empty.scheduler_address, read=length).run([FileTask("x", ())], lambda: False))
        assert refused.value.code == "no_workers"


def test_missing_scheduler_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    """A port where nothing listens, an invalid address, and a missing library."""
    monkeypatch.setattr("gainwright.adapters.music_cluster._TIMEOUT_S", 1)
    for address in ("tcp://127.0.0.1:1", "nowhere at all"):
        with pytest.raises(CallError) as refused:
            list(ClusterWorkers(address, read=length).run([FileTask("x", ())], lambda: False))
        assert refused.value.code == "no_scheduler"
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(CallError) as refused:
        ClusterWorkers("tcp://127.0.0.1:1")
    assert "gainwright[cluster]" in refused.value.remedy
