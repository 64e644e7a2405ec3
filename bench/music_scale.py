"""How scanning scales: over processes and Dask workers, and what a rescan costs a file. Run: python bench/music_scale.py [DIR]."""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gainwright.adapters.music_cache import SqliteMusicCache
from gainwright.adapters.music_cluster import ClusterWorkers
from gainwright.adapters.music_files import DiskMusicFiles
from gainwright.adapters.music_workers import LocalWorkers, cores
from gainwright.app.music.scan import scan
from gainwright.programme import USUAL_BANDS, load_kernel

if TYPE_CHECKING:
    from gainwright.app.music.ports import Workers

USUAL_MUSIC = "/usr/share/games/wesnoth/1.16/data/core/music"
RESCANNED = 20


def _timed(folder: str, workers: Workers) -> tuple[float, float]:
    """Return seconds on the clock, and times real time; tell what processors spent on it, which a busy machine doesn't alter."""
    began_s, spent_s = time.perf_counter(), _spent_s()
    found = scan([folder], bands=USUAL_BANDS, files=DiskMusicFiles(), workers=workers)
    took_s = time.perf_counter() - began_s
    if workers.here:
        print(f"{_spent_s() - spent_s:24.1f} s of processor time for {found.seconds / 3600:.2f} h of music:")
    return took_s, found.seconds / took_s


def _spent_s() -> float:
    """Return the processor time of this process and of those that it started and that have ended."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def main() -> None:
    """Measure and print."""
    folder = sys.argv[1] if len(sys.argv) > 1 else USUAL_MUSIC
    load_kernel(print)
    numbers = [n for n in (1, 2, 4, 8, 16) if n <= cores()]
    one_s, one = _timed(folder, LocalWorkers(1))
    print(f"load average {os.getloadavg()[0]:.1f}; starting of processes is part of every figure")
    print(f"{'processes':<16}{1:>4}{one_s:>8.2f} s  x {one:6.0f} real time   1.00")
    for number in numbers[1:]:
        took_s, rate = _timed(folder, LocalWorkers(number))
        print(f"{'processes':<16}{number:>4}{took_s:>8.2f} s  x {rate:6.0f} real time   {rate / one:.2f}")
    _cluster(folder, numbers, one)
    _rescan(folder)


def _cluster(folder: str, numbers: list[int], one: float) -> None:
    try:
        import distributed
    except ImportError:
        print("no Dask here")
        return
    for number in numbers:
        start: Any = distributed.LocalCluster  # it has no types
        with start(
            n_workers=number, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
        ) as cluster:
            workers = ClusterWorkers(cluster.scheduler_address)
            _timed(folder, workers)  # so that workers have loaded the analysis, as those of a cluster that stands
            took_s, rate = _timed(folder, workers)
        print(f"{'Dask workers':<16}{number:>4}{took_s:>8.2f} s  x {rate:6.0f} real time   {rate / one:.2f}")


def _rescan(folder: str) -> None:
    """Print what a file costs when nothing has changed, and what of it is looking at the disk."""
    with tempfile.TemporaryDirectory() as kept:
        cache = SqliteMusicCache(Path(kept))
        scan([folder], bands=USUAL_BANDS, files=DiskMusicFiles(), workers=LocalWorkers(), cache=cache)
        began_s = time.perf_counter()
        for _ in range(RESCANNED):
            found = scan([folder], bands=USUAL_BANDS, files=DiskMusicFiles(), workers=LocalWorkers(), cache=cache)
            assert found.reused == found.total
        each_s = (time.perf_counter() - began_s) / RESCANNED / found.total
        began_s = time.perf_counter()
        for _ in range(RESCANNED):
            DiskMusicFiles().find([folder])
        look_s = (time.perf_counter() - began_s) / RESCANNED / found.total
        cache.close()
    print(f"rescan, nothing changed: {1e6 * each_s:.0f} µs a file, {1e6 * look_s:.0f} µs of it finding it")


if __name__ == "__main__":  # workers are started anew and import this file
    main()
