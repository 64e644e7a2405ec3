"""Processes that write to a store, some until they are killed, and report what was acknowledged.

They are forked from one process that has imported the store already: a dozen new interpreters would take a dozen times as
long to start as they live.
"""

from __future__ import annotations

import contextlib
import io
import itertools
import multiprocessing
import os
import signal
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gainwright.adapters.store import StoreMaintenance, migrations, open_store
from gainwright.app.store import ConflictError
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Callable
    from multiprocessing.connection import Connection
    from multiprocessing.context import ForkServerProcess
    from multiprocessing.synchronize import Barrier

    from gainwright.adapters.store.alterations import Alterations
    from gainwright.app.store import Store

Said = tuple[str, int]
"""What was acknowledged, `entry` or `revision`, and its number."""
MEASURED: dict[str, Any] = {"rate_hz": 48_000, "channels": []}
"""The least that is stored as the measurement of a recording."""
CONTEXT = multiprocessing.get_context("forkserver")


@dataclass(frozen=True)
class Writer:
    """A process that writes, and the end of the pipe to hear it by."""

    process: ForkServerProcess
    heard: Connection

    def kill(self) -> list[Said]:
        """Kill it without warning; return what it had reported."""
        self.process.kill()
        self.process.join()
        said = []
        with self.heard:
            while True:
                try:
                    said.append(self.heard.recv())
                except (EOFError, OSError):  # OSError: killed in the middle of a message
                    return said

    def ended(self) -> tuple[Any, int | None]:
        """Wait for its end; return the last that it reported and its exit status."""
        self.process.join(120)
        with self.heard:
            said = None
            while self.heard.poll():
                try:
                    said = self.heard.recv()
                except EOFError:
                    break
        return said, self.process.exitcode


def start(target: Callable[..., None], *arguments: Any) -> Writer:
    """Start a function of this file in a separate process."""
    CONTEXT.set_forkserver_preload(["gainwright.adapters.store"])
    heard, says = CONTEXT.Pipe(duplex=False)
    process = CONTEXT.Process(target=target, args=(says, *arguments), daemon=True)
    process.start()
    says.close()
    return Writer(process, heard)


def write_entries(says: Connection, place: str, job: str, me: str) -> None:
    """Add entries, the first writer revisions too, and say each number once its call has returned."""
    store = open_store(place, patience_s=60)
    seen = max((entry.number for entry in store.runs.entries(job) if entry.step == me), default=0)
    while True:
        seen = store.runs.add(job, step=me, kind="reading", text="2,1 V", value={"volts": 2.1}, by=me, seen=seen).number
        says.send(("entry", seen))
        if me == "writer0":
            found = store.jobs.get(job)
            shorter = found.text.partition("# after")[0] if found.revision % 50 == 0 else found.text
            text = f"{shorter}# after {seen}\n"
            says.send(("revision", store.jobs.write(job, title="killed", text=text, seen=found.revision).revision))


def write_until_gone(says: Connection, place: str, job: str, me: str) -> None:
    """Do as `write_entries`, and end without a word once the database is refused or gone."""
    with contextlib.suppress(CallError):
        write_entries(says, place, job, me)


def write_shared(says: Connection, place: str, job: str, me: str, each: int, together: Barrier) -> None:
    """Add entries to a step and lines to a job that others write too, again after each conflict; say how many there were."""
    store = open_store(place, patience_s=60)
    together.wait(60)
    conflicts = 0
    for number in range(each):
        conflicts += _until_written(lambda n=number: _add_shared(store, job, me, n))  # type: ignore[misc]
        conflicts += _until_written(lambda n=number: _append_line(store, job, me, n))  # type: ignore[misc]
    says.send(conflicts)


def _until_written(write: Callable[[], None]) -> int:
    """Write until it isn't refused; return how often it was."""
    for refused in itertools.count():
        with contextlib.suppress(ConflictError):
            write()
            return refused
    raise AssertionError


def _add_shared(store: Store, job: str, me: str, number: int) -> None:
    last = max((entry.number for entry in store.runs.entries(job) if entry.step == "shared"), default=0)
    store.runs.add(job, step="shared", kind="reading", text=f"{me} {number}", value={}, by=me, seen=last)


def _append_line(store: Store, job: str, me: str, number: int) -> None:
    found = store.jobs.get(job)
    store.jobs.write(job, title="counted", text=f"{found.text}\n{me} {number}", seen=found.revision, by=me)


def open_new(says: Connection, place: str, together: Barrier) -> None:
    """Open a store that may be new, and say what was printed."""
    together.wait(60)
    with contextlib.redirect_stderr(io.StringIO()) as printed:
        open_store(place, patience_s=60).jobs.list()
    says.send(printed.getvalue())


def killed_upgrade(_: Connection, place: str, revision: str) -> None:
    """Open a store of an earlier revision; kill this process when the changes of a later one are made."""
    made = migrations.REVISIONS[revision]

    def killed(tables: Alterations) -> None:
        made(tables)
        os.kill(os.getpid(), signal.SIGKILL)

    migrations.REVISIONS[revision] = killed
    open_store(place)


def back_up(says: Connection, place: str, file: str) -> None:
    """Say that a backup begins, and make it."""
    says.send(("begins", 0))
    StoreMaintenance(place).backup(Path(file))
