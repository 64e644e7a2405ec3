"""Reading a store without changing anything of it: in use, left by a killed program, or on a medium that can't be written."""

from __future__ import annotations

import shutil
import tempfile
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from gainwright.adapters.store.database import Database
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Callable

Found = TypeVar("Found")
_LOGS = ("-wal", "-shm", "-journal")
NOT_WRITABLE = ("store_not_opened", "store_read_only")
"""Codes of a store that can't be opened as one that is written to."""


def only_reading(where: str | Path, look: Callable[[Database], Found]) -> Found:
    """Return what `look` finds in a store; neither its file nor those beside it change, and none is added.

    Raises
    ------
    CallError : it can't be read.
    """
    with closing(Database(where, only_read="alone")) as database:
        file = database.file
        if file is None:
            return look(database)
        before = _state(file)
        if not any(before[1]):  # nobody has it open
            found = look(database)
            if _state(file) == before:
                return found
    if _state(file)[1][1]:
        try:
            with closing(Database(where, only_read="shared")) as database:
                return look(database)
        except CallError as error:
            if error.code not in NOT_WRITABLE:
                raise
    return _in_a_copy(file, look)


def _in_a_copy(file: Path, look: Callable[[Database], Found]) -> Found:
    """Look at a copy: the log that a killed program has left is worked in there."""
    with tempfile.TemporaryDirectory(prefix="gainwright-") as folder:
        copy = Path(folder) / "store.sqlite"
        try:
            for suffix in ("", *(suffix for suffix in _LOGS if suffix != "-shm")):
                if Path(f"{file}{suffix}").is_file():
                    shutil.copyfile(f"{file}{suffix}", f"{copy}{suffix}")
        except OSError as error:
            raise CallError(
                f"it can't be read: {error.strerror}", code="store_not_opened", where=str(file), remedy="make room"
            ) from None
        with closing(Database(copy)) as database:
            database.name = str(file)
            return look(database)


def _state(file: Path) -> tuple[tuple[int, int], tuple[bool, ...]]:
    """Return when the file was written and its size, and which of its logs are there (an empty one isn't)."""
    try:
        stat = file.stat()
        logs = tuple(
            Path(f"{file}{suffix}").is_file() and Path(f"{file}{suffix}").stat().st_size > 0 for suffix in _LOGS
        )
    except OSError as error:
        raise CallError(
            f"it can't be read: {error.strerror}", code="store_not_opened", where=str(file), remedy="check its folder"
        ) from None
    return (stat.st_mtime_ns, stat.st_size), logs
