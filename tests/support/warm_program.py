"""`python -m gainwright` started from a process that has imported it: half a second of processor time less for each start.

Run as a program, this file imports Gainwright and forks itself for each line of its standard input, as JSON: the
arguments, the environment, and a named pipe for standard error. It answers each with the number of the new process.
"""

from __future__ import annotations

import json
import os
import select
import signal
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

IMPORTED = ("gainwright.cli", "gainwright.web.serving", "gainwright.web.server", "gainwright.composition", "uvicorn")
"""What a server imports before it answers its first request."""


@dataclass
class ForkedProcess:
    """A process that isn't a child of this one, with what `subprocess.Popen` has of it."""

    pid: int
    stderr: TextIO
    _handle: int | None = field(init=False)

    def __post_init__(self) -> None:
        """Take hold of it; when it has ended already there is nothing to hold."""
        try:
            self._handle = os.pidfd_open(self.pid)
        except ProcessLookupError:
            self._handle = None

    def poll(self) -> int | None:
        """Return 0 when it has ended, whatever its exit status was; nothing while it runs."""
        return self._ended(0.0)

    def wait(self, timeout: float) -> int:
        """Wait until it has ended.

        Raises
        ------
        subprocess.TimeoutExpired : it still runs after `timeout` seconds.
        """
        if self._ended(timeout) is None:
            raise subprocess.TimeoutExpired("gainwright", timeout)
        return 0

    def _ended(self, within_s: float) -> int | None:
        if self._handle is not None:
            if not select.select([self._handle], [], [], within_s)[0]:
                return None
            os.close(self._handle)
            self._handle = None
        return 0


class WarmProgram:
    """The process that has imported everything, and starts the others."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None

    def start(self, arguments: Sequence[str], environment: Mapping[str, str], folder: Path) -> ForkedProcess:
        """Start the program with these arguments in a session of its own; its standard error comes through a pipe in a folder."""
        if self._process is None:
            command = (sys.executable, __file__)
            self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        pipe = folder / f"stderr-{time.monotonic_ns()}"
        os.mkfifo(pipe)
        self._process.stdin.write(json.dumps([list(arguments), dict(environment), str(pipe)]) + "\n")
        self._process.stdin.flush()
        stderr = pipe.open(encoding="utf-8")  # returns when the other end is open too
        pipe.unlink()
        return ForkedProcess(int(self._process.stdout.readline()), stderr)

    def close(self) -> None:
        """End it; what it started runs on."""
        if self._process is not None:
            self._process.communicate()
            self._process = None


def _serve() -> None:
    import importlib

    for name in IMPORTED:
        importlib.import_module(name)
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody here waits for them
    for line in sys.stdin:
        arguments, environment, pipe = json.loads(line)
        if pid := os.fork():
            sys.stdout.write(f"{pid}\n")
            sys.stdout.flush()
        else:
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            _run(arguments, environment, pipe)


def _run(arguments: list[str], environment: dict[str, str], pipe: str) -> None:
    os.setsid()
    os.dup2(os.open(os.devnull, os.O_RDWR), 0)
    os.dup2(0, 1)
    os.dup2(os.open(pipe, os.O_WRONLY), 2)
    os.environ.clear()
    os.environ.update(environment)
    sys.argv = ["gainwright", *arguments]
    from gainwright.__main__ import main

    status = 0
    try:
        main()
    except SystemExit as ended:
        status = ended.code if isinstance(ended.code, int) else 1
    sys.stderr.flush()
    os._exit(status)


if __name__ == "__main__":
    _serve()
