"""Commands as a user runs them, in a folder: in this process, or as a separate program."""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
from typing import TYPE_CHECKING
from unittest import mock

if TYPE_CHECKING:
    from pathlib import Path


def run(*arguments: object, folder: Path, typed: str = "") -> subprocess.CompletedProcess[str]:
    """Run `gainwright` in this process, in a folder, with what is typed; return what a program of its own would leave.

    The person's own data lie in the folder's folder `data`.
    An error nobody foresaw is status 70, with its report. Warnings stay what the test makes of them: errors.
    """
    from gainwright.cli import main

    command = ("gainwright", *map(str, arguments))
    out, err = _stream(), _stream()
    status = 0
    with (
        contextlib.chdir(folder),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        mock.patch.object(sys, "stdin", io.TextIOWrapper(io.BytesIO(typed.encode()), encoding="utf-8")),
        mock.patch.object(sys, "argv", list(command)),
        mock.patch.dict(os.environ, {"XDG_DATA_HOME": str(folder / "data")}),
    ):
        try:
            main()
        except SystemExit as ended:
            status = ended.code if isinstance(ended.code, int) else int(ended.code is not None)
    return subprocess.CompletedProcess(command, status, _text(out), _text(err))


def run_program(*arguments: object, folder: Path, typed: str = "") -> subprocess.CompletedProcess[str]:
    """Run `python -W error -m gainwright` as a separate program, for what can't be seen from within a process."""
    return subprocess.run(
        (sys.executable, "-W", "error", "-m", "gainwright", *map(str, arguments)),
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        input=typed,
        encoding="utf-8",
        env={**os.environ, "XDG_DATA_HOME": str(folder / "data")},
    )


def _stream() -> io.TextIOWrapper:
    return io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True)


def _text(stream: io.TextIOWrapper) -> str:
    raw = stream.buffer
    assert isinstance(raw, io.BytesIO)
    return raw.getvalue().decode("utf-8")
