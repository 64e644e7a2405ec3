"""Background work for what takes too long for a request: with progress, can be stopped, independent of the page."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import secrets
import threading
from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, Literal

from gainwright.errors import CallError, GainwrightError
from gainwright.texts import say
from gainwright.web.result_files import ResultFiles
from gainwright.web.shown_errors import shown

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable
    from pathlib import Path

log = logging.getLogger("gainwright.web")

State = Literal["waiting", "running", "done", "failed", "stopped"]
MOST_KEPT = 50
ENDED = ("done", "failed", "stopped")
STATES = {
    "waiting": say("waiting"),
    "running": say("running"),
    "done": say("done"),
    "failed": say("failed"),
    "stopped": say("stopped"),
}
"""Each state as a page shows it."""


class WorkStopped(Exception):  # noqa: N818  not an error
    """A person stopped the work."""


@dataclass(frozen=True, slots=True)
class WorkProgress:
    """Progress of a piece of work, as the API sends it.

    Attributes
    ----------
    back : the page it belongs to.
    share : part that is done, 0 .. 1; None when unknown.
    said : what it is doing, in a few words; after a failure the reason.
    result : kind -> id of what it produced.
    name : of the file it produced; empty when there is none.
    """

    id: str
    title: str
    back: str
    state: State
    share: float | None
    said: str
    result: dict[str, str]
    name: str


@dataclass
class Work:
    """One piece of work; see WorkProgress. `name` and `media_type` are those of `file`."""

    id: str
    title: str
    back: str
    state: State = "waiting"
    share: float | None = 0.0
    said: str = ""
    result: dict[str, str] = field(default_factory=dict)
    name: str = ""
    media_type: str = ""
    revision: int = 0
    _files: ResultFiles = field(default_factory=ResultFiles, repr=False)
    _file: Path | None = field(default=None, repr=False)
    _followers: set[Callable[[], None]] = field(default_factory=set, repr=False)
    _lock: threading.Lock = field(default_factory=threading.Lock, repr=False)
    _ended: threading.Event = field(default_factory=threading.Event, repr=False)
    _stop: threading.Event = field(default_factory=threading.Event, repr=False)

    def report(self, share: float | None, said: str = "") -> None:
        """Report progress. WorkStopped: a person stopped it, and the work should end."""
        if self._stop.is_set():
            raise WorkStopped
        self._set(share=share, said=said)

    @property
    def going(self) -> bool:
        """Whether it hasn't ended; a page follows only such work."""
        return self.state not in ENDED

    @property
    def shown_state(self) -> str:
        """Its state as a page shows it, with what it is doing."""
        state = STATES[self.state]
        return say("{state}: {said}", state=state, said=self.said) if self.said else state

    @property
    def stopping(self) -> bool:
        """Whether a person stopped it."""
        return self._stop.is_set()

    @property
    def progress(self) -> WorkProgress:
        """Its present progress."""
        return WorkProgress(**{f.name: getattr(self, f.name) for f in fields(WorkProgress)})

    def keep_file(self, content: bytes, *, name: str, media_type: str) -> None:
        """Store the file it produced, on the disk."""
        self._file = self._files.add(content)
        self.name, self.media_type = name, media_type

    @property
    def file(self) -> Path:
        """Path of the file it produced.

        Raises
        ------
        CallError : there is none, not yet or no longer.
        """
        if self._file is None:
            raise CallError(say("the file isn't ready yet"), code="no_such_file", remedy=say("wait until it is done"))
        self._files.remove_old()
        if not self._file.is_file():
            raise CallError(say("the file has been removed"), code="no_such_file", remedy=say("make it again"))
        return self._file

    @property
    def file_bytes(self) -> int:
        """Size of the file it produced; 0 when there is none."""
        try:
            return self.file.stat().st_size
        except (CallError, OSError):
            return 0

    async def changes(self, *, wait_s: float = 15.0) -> AsyncIterator[WorkProgress | None]:
        """Yield its progress now and after each change until it has ended; None when nothing changed for a while.

        No thread waits, however many clients follow.
        """
        loop, changed = asyncio.get_running_loop(), asyncio.Event()

        def notify() -> None:
            with contextlib.suppress(RuntimeError):  # the client's event loop has ended
                loop.call_soon_threadsafe(changed.set)

        with self._lock:
            self._followers.add(notify)
        try:
            sent = -1
            while True:
                changed.clear()
                with self._lock:
                    progress = self.progress if self.revision != sent else None
                    sent = self.revision
                yield progress
                if progress is not None and progress.state in ENDED:
                    return
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(changed.wait(), wait_s)
        finally:
            with self._lock:
                self._followers.discard(notify)

    def wait(self, most_s: float) -> WorkProgress:
        """Wait in this thread until it has ended, at most `most_s` seconds; return its progress."""
        self._ended.wait(most_s)
        with self._lock:
            return self.progress

    def _set(self, **values: Any) -> None:
        with self._lock:
            for key, value in values.items():
                setattr(self, key, value)
            self.revision += 1
            followers = list(self._followers)
        if not self.going:
            self._ended.set()
        for notify in followers:
            notify()

    def _run(self, do: Callable[[Work], None]) -> None:
        try:
            if self._stop.is_set():
                raise WorkStopped
            self._set(state="running")
            do(self)
        except WorkStopped:
            self._set(state="stopped", said="stopped")
        except GainwrightError as error:
            self._set(state="failed", said=str(shown(error)))
        except Exception:
            number = secrets.token_hex(4)
            log.exception("unexpected error %s in the background: %s", number, self.title)
            said = "nothing that was stored is affected; the log has it under that number"
            self._set(state="failed", said=f"internal error {number}; {said}")
        else:
            self._set(state="done", share=1.0, said="")


class Background:
    """Runs pieces of work and keeps the latest with their results: two short ones at a time, and beside them two long ones."""

    def __init__(self) -> None:
        self._short = ThreadPoolExecutor(max_workers=2, thread_name_prefix="background")
        self._long = ThreadPoolExecutor(max_workers=2, thread_name_prefix="long background")
        self._files = ResultFiles()
        self._work: OrderedDict[str, Work] = OrderedDict()
        self._lock = threading.Lock()

    def start(self, title: str, do: Callable[[Work], None], *, back: str, long: bool = False) -> Work:
        """Start a piece of work.

        Parameters
        ----------
        do : does the work, and calls `Work.report` with its progress.
        back : the page it belongs to.
        long : it may take minutes or hours; short work doesn't wait for it.
        """
        self._files.remove_old()
        work = Work(secrets.token_urlsafe(9), title, back, _files=self._files)
        with self._lock:
            self._work[work.id] = work
            ended = [w.id for w in self._work.values() if w.state in ENDED]
            for old in ended[: max(0, len(self._work) - MOST_KEPT)]:
                del self._work[old]
        (self._long if long else self._short).submit(work._run, do)
        return work

    def get(self, work: str) -> Work:
        """Return a piece of work.

        Raises
        ------
        CallError : there is none; the program may have been restarted.
        """
        with self._lock:
            work_found = self._work.get(work)
        if work_found is None:
            raise CallError(say("this task is no longer listed"), code="no_such_work", remedy=say("start it again"))
        return work_found

    def list(self) -> list[Work]:
        """Return all that are kept, newest first."""
        with self._lock:
            return list(reversed(self._work.values()))

    def stop(self, work: str) -> None:
        """Stop a piece of work, at its next report."""
        found = self.get(work)
        found._stop.set()
        found._set()

    def close(self) -> None:
        """Stop everything and remove the files."""
        for work in self.list():
            work._stop.set()
        for pool in (self._short, self._long):
            pool.shutdown(wait=False, cancel_futures=True)
        self._files.close()
