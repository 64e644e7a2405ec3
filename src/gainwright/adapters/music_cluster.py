"""Workers of a Dask cluster, which have the same files at the same paths."""

from __future__ import annotations

import itertools
import queue
import socket
from typing import TYPE_CHECKING, Any

from gainwright.adapters.music_reader import read_file
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from gainwright.app.music.ports import Answer, FileTask

_POLL_S = 0.1
_TASKS_PER_THREAD = 4
"""Tasks submitted per thread of a worker."""
_TIMEOUT_S = 10


class ClusterWorkers:
    """The workers of the Dask scheduler at an address, as they come and go.

    The file of a lost worker is read by another; a file that keeps killing workers, even when it is read alone, is
    given up.

    Raises
    ------
    CallError : Dask isn't installed.
    """

    def __init__(self, address: str, *, read: Callable[[FileTask], Answer] = read_file) -> None:
        try:
            import distributed
        except ImportError:
            raise CallError(
                "the library for clusters is not installed",
                code="no_cluster_library",
                where="cluster",
                remedy='python -m pip install "gainwright[cluster]"',
            ) from None
        self._distributed: Any = distributed
        self.address, self._read = address, read

    @property
    def words(self) -> str:
        """Description of the workers."""
        return f"the cluster at {self.address}"

    @property
    def here(self) -> bool:
        """Whether they run on this machine."""
        return False

    def spare(self, tasks: int) -> bool:
        """Whether each of `tasks` tasks, run in parallel as far as possible, has a second core available."""
        del tasks
        return False  # a worker has a fixed number of threads

    def run(
        self, tasks: Sequence[FileTask], should_stop: Callable[[], bool]
    ) -> Iterator[tuple[FileTask, Answer | None]]:
        """Yield each task with its answer as it is done; see the port."""
        client = self._client()
        ahead = _TASKS_PER_THREAD * max(1, sum(client.nthreads().values()))
        lost = []
        try:
            for task, answer in self._in_parallel(client, tasks, ahead, should_stop):
                if answer is None:
                    lost.append(task)
                else:
                    yield task, answer
            for task in lost:  # another file may have killed the worker: read each again alone
                yield from self._in_parallel(client, [task], 1, should_stop)
        finally:
            client.close()

    def _in_parallel(
        self,
        client: Any,
        tasks: Sequence[FileTask],
        ahead: int,
        should_stop: Callable[[], bool],
    ) -> Iterator[tuple[FileTask, Answer | None]]:
        ready: queue.SimpleQueue[Any] = queue.SimpleQueue()
        given: dict[Any, FileTask] = {}
        left = iter(tasks)
        try:
            while True:
                for task in itertools.islice(left, ahead - len(given)):
                    # pure=False: run the same call again instead of answering from the scheduler's memory
                    future = client.submit(self._read, task, pure=False)
                    given[future] = task
                    future.add_done_callback(ready.put)
                if not given or should_stop():
                    return
                try:
                    future = ready.get(timeout=_POLL_S)
                except queue.Empty:
                    self._check(client)
                    continue
                answer = self._result(future)
                yield given.pop(future), answer
                future.release()
        finally:
            for future in given:
                future.cancel()

    def _client(self) -> Any:
        try:
            # a client that can't connect is left open, and its closing when it is collected later can deadlock
            host = self._distributed.comm.get_address_host_port(self.address)
            socket.create_connection(host, timeout=_TIMEOUT_S).close()
            client = self._distributed.Client(self.address, timeout=_TIMEOUT_S, set_as_default=False)
        except (OSError, TimeoutError, ValueError) as error:
            raise CallError(
                f"the scheduler doesn't answer ({type(error).__name__})",
                code="no_scheduler",
                where=f"cluster at {self.address}",
                rule="the address is like tcp://127.0.0.1:8786",
                remedy="start one with `dask scheduler`, and workers with `dask worker ADDRESS`",
            ) from None
        try:
            client.wait_for_workers(1, timeout=_TIMEOUT_S)
        except TimeoutError:
            client.close()
            raise CallError(
                "the scheduler has no workers",
                code="no_workers",
                where=f"cluster at {self.address}",
                remedy="start some with `dask worker ADDRESS`",
            ) from None
        return client

    def _result(self, future: Any) -> Answer | None:
        try:
            answer: Answer = future.result(timeout=_TIMEOUT_S)
        except self._distributed.scheduler.KilledWorker:
            return None
        except (OSError, TimeoutError, self._distributed.client.FutureCancelledError) as error:
            raise self._lost(type(error).__name__) from None
        except ImportError as error:
            raise CallError(
                f"its workers can't run this program ({error})",
                code="other_version",
                where=f"cluster at {self.address}",
                remedy="install the same version of gainwright there",
            ) from None
        return answer

    def _check(self, client: Any) -> None:
        if client.status not in ("running", "connecting"):
            raise self._lost(str(client.status))

    def _lost(self, how: str) -> CallError:
        return CallError(
            f"the connection to the scheduler was lost ({how}); results so far are stored",
            code="no_scheduler",
            where=f"cluster at {self.address}",
            remedy="start it again and resume the scan",
        )
