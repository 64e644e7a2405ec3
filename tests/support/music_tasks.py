"""Workers that read music in this process, and stand-ins for reading a file, run in other processes: a fast one, a slow one, and one that kills its process."""

from __future__ import annotations

import os
import signal
import struct
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright.adapters.music_reader import read_file
from gainwright.app.music.ports import Answer

if TYPE_CHECKING:
    from types import FrameType

    from gainwright.app.music.ports import FileTask


class Here:
    """Does tasks one after the other in this process, and counts those that read a whole file."""

    words, here = "this process", False

    def __init__(self) -> None:
        self.read: list[str] = []
        self.digests: list[str] = []

    def spare(self, tasks: int) -> bool:
        """One core: none is spare."""
        del tasks
        return False

    def run(self, tasks, should_stop):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN201  as the port says
        """Yield each task with its answer."""
        for task in tasks:
            if should_stop():
                return
            self.read += [Path(task.path).name] if task.bands else []
            answer = read_file(task)
            self.digests.append(answer.digest)
            yield task, answer


def length(task: FileTask) -> Answer:
    """Return the content of a file as its digest; `die` in its name ends the process, `once` only the first time."""
    path = Path(task.path)
    if "die" in path.name:
        os.kill(os.getpid(), signal.SIGKILL)
    if "once" in path.name:
        mark = path.with_name(path.name + ".mark")
        if not mark.exists():
            mark.touch()
            os.kill(os.getpid(), signal.SIGKILL)
    return Answer(path.read_text(encoding="utf-8"))


def slow(task: FileTask) -> Answer:
    """Take a minute over a file called `slow`, and leave it as a mark at the end."""
    if "slow" in Path(task.path).name:
        time.sleep(60)
        Path(task.path).touch()
    return Answer(task.path)


def half_an_answer(task: FileTask) -> Answer:
    """Write the beginning of an answer to where answers go, as a process does that is ended in the middle of one."""
    frame: FrameType | None = sys._getframe()
    while frame and "result_queue" not in frame.f_locals:
        frame = frame.f_back
    assert frame is not None
    os.write(frame.f_locals["result_queue"]._writer.fileno(), struct.pack("!i", 1000) + b"half")
    Path(task.path).write_bytes(b"")
    time.sleep(60)
    return Answer("")
