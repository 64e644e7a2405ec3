"""How child processes are started: what they import comes from where this program has it, never from the current folder."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

OWN = Path(__file__).resolve().parents[2]
"""The folder that this program is imported from."""
SAFE_PATH = "PYTHONSAFEPATH"
"""With it Python doesn't put the current folder first among those it imports from (docs.python.org/3/using/cmdline.html)."""


def child_environment() -> dict[str, str]:
    """Return the environment of a child process that imports from absolute folders only, this program's own first, and has one thread."""
    named = os.environ.get("PYTHONPATH", "").split(os.pathsep)
    folders = dict.fromkeys([str(OWN), *(folder for folder in named if Path(folder).is_absolute())])
    # one thread: a thread pool would count against the memory limit of a child
    alone = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    return {**os.environ, **alone, "PYTHONPATH": os.pathsep.join(folders), SAFE_PATH: "1"}


@contextlib.contextmanager
def started_safely() -> Iterator[None]:
    """Let processes that `multiprocessing` starts in this block not import from the current folder."""
    before = os.environ.get(SAFE_PATH)
    os.environ[SAFE_PATH] = "1"
    try:
        yield
    finally:
        if before is None:
            os.environ.pop(SAFE_PATH, None)


def leave_current_folder(empty: str) -> None:
    """Work in an empty folder from here on, and import nothing from the one that was current, unless this program is there."""
    forget_current_folder()
    os.chdir(empty)


def forget_current_folder() -> None:
    """Import nothing from the current folder, unless this program itself is there: music or jobs may lie in it, and a file's name is no reason to run it."""
    here = Path.cwd()
    if here.resolve() != OWN:
        sys.path[:] = [folder for folder in sys.path if folder and Path(folder) != here]
