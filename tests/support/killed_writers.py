"""Writers to a store that are killed while they write: forked from one process that has written before, so that each is there in milliseconds.

What a writer was told to be stored it appends to a file of its own, one line for each; the lines outlive it.
"""

from __future__ import annotations

import contextlib
import os
import signal
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from store_writers import CONTEXT, write_until_gone

from gainwright.adapters.store import open_store
from gainwright.jobfile import example_text

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

    from store_writers import Said

FIRST_WITHIN_S = 60.0
"""Writers that have stored too little by then are killed all the same."""


class _Lines:
    """Takes what a writer says as lines of a file."""

    def __init__(self, file: str) -> None:
        self._file = os.open(file, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)

    def send(self, said: Said) -> None:
        """Append it with a single call of the system."""
        os.write(self._file, f"{said[0]} {said[1]}\n".encode())


def _nursery(orders: Connection) -> None:
    """Write once to a store that is thrown away; then fork writers as ordered, and bury them when they are dead."""
    with tempfile.TemporaryDirectory() as folder, contextlib.closing(open_store(Path(folder) / "warm")) as store:
        job = store.jobs.add(title="", text=example_text("one_amplifier")).id
        store.runs.add(job, step="a", kind="reading", text="1 V", value={}, by="", seen=0)
        store.jobs.write(job, title="", text="2", seen=1)
    born: list[int] = []
    with contextlib.suppress(EOFError):
        while True:
            order: tuple[Any, ...] = orders.recv()
            for file, arguments in order:
                child = os.fork()
                if not child:
                    _write(file, arguments)
                born.append(child)
            if not order:
                for child in born:
                    os.waitpid(child, 0)
            orders.send(born)
            born = born if order else []


def _write(file: str, arguments: tuple[str, str, str]) -> None:
    try:
        write_until_gone(_Lines(file), *arguments)  # type: ignore[arg-type]
    finally:
        os._exit(0)


class KilledWriters:
    """Starts writers and kills them; `end` when no more are wanted."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="gainwright-killed-")
        self._orders, theirs = CONTEXT.Pipe()
        CONTEXT.set_forkserver_preload(["gainwright.adapters.store"])
        self._nursery = CONTEXT.Process(target=_nursery, args=(theirs,))
        self._nursery.start()
        theirs.close()
        self._rounds = 0

    def killed(self, place: str, job: str, many: int, *, after_s: float, before: Any = None) -> list[Said]:
        """Let writers write until a moment after they have stored as much as there are of them, then kill them; return what they were told.

        Parameters
        ----------
        before : called in that moment, before they are killed.
        """
        self._rounds += 1
        files = [Path(self._folder.name) / f"{self._rounds}-{n}" for n in range(many)]
        self._orders.send([(str(file), (place, job, f"writer{n}")) for n, file in enumerate(files)])
        born = self._orders.recv()
        until = time.monotonic() + FIRST_WITHIN_S
        while sum(map(_lines, files)) < many and time.monotonic() < until:  # not of each: a file's lock isn't fair
            time.sleep(0.005)
        time.sleep(after_s)
        if before is not None:
            before()
        for child in born:
            os.kill(child, signal.SIGKILL)  # not yet buried, so the number is still its own
        self._orders.send([])
        self._orders.recv()
        return [said for file in files for said in _said(file)]

    def end(self) -> None:
        """End the process that forks them."""
        self._orders.close()
        self._nursery.join(60)
        self._folder.cleanup()


def _lines(file: Path) -> int:
    return file.read_bytes().count(b"\n") if file.exists() else 0


def _said(file: Path) -> list[Said]:
    """Return the complete lines of a writer."""
    text = file.read_text(encoding="ascii") if file.exists() else ""
    file.unlink(missing_ok=True)
    lines = [line.split() for line in text[: text.rfind("\n") + 1].splitlines()]
    return [(what, int(number)) for what, number in lines]
