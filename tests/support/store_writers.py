"""Processes that write to a store until they are killed, and report what was acknowledged.

They are forked from one process that has imported the store already: a dozen new interpreters would take a dozen times as
long to start as they live.
"""

from __future__ import annotations

import multiprocessing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright.adapters.store import StoreMaintenance, open_store

if TYPE_CHECKING:
    from collections.abc import Callable
    from multiprocessing.connection import Connection
    from multiprocessing.context import ForkServerProcess

Said = tuple[str, int]
"""What was acknowledged, `entry` or `revision`, and its number."""


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


def start(target: Callable[..., None], *arguments: str) -> Writer:
    """Start a function of this file in a separate process."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["gainwright.adapters.store"])
    heard, says = context.Pipe(duplex=False)
    process = context.Process(target=target, args=(says, *arguments), daemon=True)
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


def back_up(says: Connection, place: str, file: str) -> None:
    """Say that a backup begins, and make it."""
    says.send(("begins", 0))
    StoreMaintenance(place).backup(Path(file))
