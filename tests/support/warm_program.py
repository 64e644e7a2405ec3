"""`python -m gainwright` started from a process that has imported it: half a second of processor time less for each start.

Run as a program, this file imports Gainwright and answers each line of its standard input, as JSON: to arguments, an
environment and files for standard output and error, with the number of a new process; to such a number, with the exit
status of the process, once it has ended.
"""

from __future__ import annotations

import json
import os
import select
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

IMPORTED = ("gainwright.cli", "gainwright.web.serving", "gainwright.web.server", "gainwright.composition", "uvicorn")
"""What a server imports before it answers its first request, and what measures live input."""


@dataclass
class ForkedProcess:
    """A process that isn't a child of this one, with what `subprocess.Popen` has of it."""

    program: WarmProgram
    pid: int
    stderr: TextIO
    returncode: int | None = None
    _handle: int = field(init=False)

    def __post_init__(self) -> None:
        """Take hold of it; its number stays its own until its exit status is asked for."""
        self._handle = os.pidfd_open(self.pid)

    def poll(self) -> int | None:
        """Return its exit status, below zero the signal that ended it; nothing while it runs."""
        return self._ended(0.0)

    def wait(self, timeout: float) -> int:
        """Wait until it has ended, and return its exit status.

        Raises
        ------
        subprocess.TimeoutExpired : it still runs after `timeout` seconds.
        """
        if (status := self._ended(timeout)) is None:
            raise subprocess.TimeoutExpired("gainwright", timeout)
        return status

    def _ended(self, within_s: float) -> int | None:
        if self.returncode is None and select.select([self._handle], [], [], within_s)[0]:
            os.close(self._handle)
            self.returncode = self.program.ask(self.pid)
        return self.returncode


class WarmProgram:
    """The process that has imported everything, and starts the others."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None

    def start(
        self, arguments: Sequence[str], environment: Mapping[str, str], folder: Path, out: str = os.devnull
    ) -> ForkedProcess:
        """Start the program with these arguments in a session of its own; its standard error comes through a pipe in a folder."""
        pipe = folder / f"stderr-{time.monotonic_ns()}"
        os.mkfifo(pipe)
        pid = self.ask([list(arguments), dict(environment), out, str(pipe)])
        stderr = pipe.open(encoding="utf-8")  # returns when the other end is open too
        pipe.unlink()
        return ForkedProcess(self, pid, stderr)

    def run(
        self, arguments: Sequence[str], environment: Mapping[str, str], folder: Path, timeout: float
    ) -> subprocess.CompletedProcess[str]:
        """Run the program to its end, and return its exit status and what it wrote."""
        out = folder / "stdout"
        running = self.start(arguments, environment, folder, str(out))
        with running.stderr:
            said = running.stderr.read()  # to its end
        status = running.wait(timeout)
        return subprocess.CompletedProcess(list(arguments), status, out.read_text(encoding="utf-8"), said)

    def ask(self, what: object) -> int:
        """Ask the process that has imported everything."""
        if self._process is None:
            command = (sys.executable, __file__)
            self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(what) + "\n")
        self._process.stdin.flush()
        return int(self._process.stdout.readline())

    def close(self) -> None:
        """End it; what it started runs on."""
        if self._process is not None:
            self._process.communicate()
            self._process = None


def _serve() -> None:
    import importlib

    for name in IMPORTED:
        importlib.import_module(name)
    for line in sys.stdin:
        asked = json.loads(line)
        if isinstance(asked, int):
            answer = os.waitstatus_to_exitcode(os.waitpid(asked, 0)[1])
        elif not (answer := os.fork()):
            _run(*asked)
        sys.stdout.write(f"{answer}\n")
        sys.stdout.flush()


def _run(arguments: list[str], environment: dict[str, str], out: str, err: str) -> None:
    os.dup2(os.open(err, os.O_WRONLY), 2)  # first: the other end waits for it
    os.setsid()
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    os.dup2(os.open(out, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), 1)
    os.environ.clear()
    os.environ.update(environment)
    sys.argv = ["gainwright", *arguments]
    from gainwright.__main__ import main

    status = 0
    try:
        main()
    except SystemExit as ended:
        status = ended.code if isinstance(ended.code, int) else int(ended.code is not None)
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(status)


if __name__ == "__main__":
    _serve()
