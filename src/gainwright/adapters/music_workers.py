"""Processes of this machine that read files in parallel."""

from __future__ import annotations

import itertools
import multiprocessing
import os
import queue
import signal
import sys
import tempfile
from concurrent.futures import CancelledError, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright.adapters.child_processes import leave_current_folder, started_safely
from gainwright.adapters.music_reader import read_file
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from concurrent.futures import Future

    from gainwright.app.music.ports import Answer, FileTask

_TASKS_PER_PROCESS = 2
"""Tasks submitted per process: one running, one waiting."""
_TRIES_ALONE = 2
"""How often a file that was being read when a process died is read again alone."""
_MOST_AT_FIRST = 3
"""If this many files are given up before any is read, the files aren't the problem."""
_MOST_ON_WINDOWS = 61
"""Most processes of a pool on Windows (docs.python.org/3/library/concurrent.futures.html)."""
_POLL_S = 0.1
"""Interval at which `should_stop` is called."""


def cores() -> int:
    """Return how many cores this process may use."""
    affinity = getattr(os, "sched_getaffinity", None)
    return len(affinity(0)) if affinity is not None else os.cpu_count() or 1


def _begin(empty: str) -> None:
    """Ignore Ctrl-C, which the parent process handles; work in an empty folder and import nothing from the current one."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    leave_current_folder(empty)


@contextmanager
def _interrupts_blocked() -> Iterator[None]:
    """Block Ctrl-C for processes started in this block, even before their own code runs."""
    if sys.platform == "win32":
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


class LocalWorkers:
    """Processes, one per core by default; they are spawned, not forked."""

    def __init__(self, number: int | None = None, *, read: Callable[[FileTask], Answer] = read_file) -> None:
        most = _MOST_ON_WINDOWS if sys.platform == "win32" else number or cores()
        self.number, self._read = min(number or cores(), most), read

    @property
    def words(self) -> str:
        """Description of the workers."""
        return f"{self.number} process{'es' if self.number > 1 else ''} here"

    @property
    def here(self) -> bool:
        """Whether they run on this machine."""
        return True

    def spare(self, tasks: int) -> bool:
        """Whether each of `tasks` tasks, run in parallel as far as possible, has a second core available."""
        return 2 * min(self.number, tasks) <= cores()

    def run(
        self, tasks: Sequence[FileTask], should_stop: Callable[[], bool]
    ) -> Iterator[tuple[FileTask, Answer | None]]:
        """Yield each task with its answer as it is done; see the port.

        When a process dies, all files that were being read then are read again, each alone; a file that kills its
        process twice more is given up.
        """
        waiting, answered, given_up = list(tasks), 0, 0
        while waiting and not should_stop():
            done: set[FileTask] = set()
            try:
                for task, answer in self._pooled(waiting, self.number, should_stop):
                    done.add(task)
                    answered += 1
                    yield task, answer
            except BrokenProcessPool as broken:
                suspects = [task for task in broken.args[-1] if task not in done]
                for task in suspects:
                    if should_stop():
                        return
                    answer_alone = self._alone(task, should_stop)
                    if answer_alone is None and should_stop():
                        return
                    answered, given_up = answered + (answer_alone is not None), given_up + (answer_alone is None)
                    if not answered and given_up == _MOST_AT_FIRST:
                        raise CallError(
                            "every process that reads music dies",
                            code="no_processes",
                            rule="each process must be able to read files",
                            remedy="make sure that there is enough memory; fewer processes need less",
                        ) from None
                    done.add(task)
                    yield task, answer_alone
            else:
                return
            waiting = [task for task in waiting if task not in done]

    def _alone(self, task: FileTask, should_stop: Callable[[], bool]) -> Answer | None:
        for _ in range(_TRIES_ALONE):
            try:
                return next((answer for _, answer in self._pooled([task], 1, should_stop)), None)
            except BrokenProcessPool:
                continue
        return None

    def _pooled(
        self, tasks: Sequence[FileTask], number: int, should_stop: Callable[[], bool]
    ) -> Iterator[tuple[FileTask, Answer]]:
        """Yield answers from one pool; if it breaks, the exception's last argument lists the tasks in progress."""
        context = multiprocessing.get_context("spawn")
        empty = tempfile.TemporaryDirectory(prefix="gainwright-", ignore_cleanup_errors=True)
        with started_safely():  # its locks start a process too
            pool = ProcessPoolExecutor(
                min(number, len(tasks)), mp_context=context, initializer=_begin, initargs=(empty.name,)
            )
        ready: queue.SimpleQueue[Future[Answer]] = queue.SimpleQueue()
        given: dict[Future[Answer], FileTask] = {}
        left, finished = iter(tasks), False
        try:
            while True:
                for task in itertools.islice(left, _TASKS_PER_PROCESS * number - len(given)):
                    with _interrupts_blocked(), started_safely():
                        future = pool.submit(self._read, replace(task, path=str(Path(task.path).absolute())))
                    given[future] = task
                    future.add_done_callback(ready.put)
                if not given:
                    finished = True
                    return
                if should_stop():
                    return
                try:
                    future = ready.get(timeout=_POLL_S)
                except queue.Empty:
                    continue
                answer = future.result()
                yield given.pop(future), answer
        except (BrokenProcessPool, CancelledError) as broken:
            raise BrokenProcessPool(*broken.args, list(given.values())) from None
        finally:
            self._end(pool, finished=finished)
            empty.cleanup()

    @staticmethod
    def _end(pool: ProcessPoolExecutor, *, finished: bool) -> None:
        """Shut the pool down; processes that are still reading are terminated."""
        # before Python 3.14 a pool has no way to end its processes; without it Ctrl-C would wait for a ten-hour file
        processes = list((getattr(pool, "_processes", None) or {}).values())
        answers = getattr(pool, "_result_queue", None)
        pool.shutdown(wait=finished, cancel_futures=True)
        if not finished:
            for process in processes:
                process.terminate()
            for process in processes:
                process.join(5)
            # if one was terminated while sending its answer, the reading thread would wait for the rest for ever
            if answers is not None:
                answers._writer.close()
