"""The calibrations of sound inputs, in a file of the user's settings folder."""

from __future__ import annotations

import json
import math
import sqlite3
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING

from gainwright.adapters.files import make_folder, write_file
from gainwright.adapters.user_folders import config_path
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

FILE = "calibrations.json"
REMEDY = "set XDG_CONFIG_HOME"
PATIENCE_S = 5.0
"""How long to wait for another writer."""


class FileCalibrations:
    """Calibrations in a JSON file, the user's own unless another is named."""

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or config_path(FILE)

    def kept(self) -> dict[str, float]:
        """Return the stored calibrations: device and gain -> volts rms of a full-scale sine.

        Raises
        ------
        CallError : the file is damaged.
        """
        if not self.path.is_file():
            return {}
        try:
            found = json.loads(self.path.read_text(encoding="utf-8"))
            values = {str(key): float(value) for key, value in found.items()}
        except (OSError, ValueError, AttributeError, TypeError, OverflowError, RecursionError) as error:
            raise CallError(
                f"can't be read ({type(error).__name__})",
                code="damaged",
                where=str(self.path),
                remedy="delete it and calibrate again",
            ) from None
        return {key: value for key, value in values.items() if math.isfinite(value) and value > 0}

    def keep(self, key: str, full_scale_v: float) -> str:
        """Add or replace one calibration; return the file.

        Raises
        ------
        CallError : the file is damaged or can't be written.
        """
        make_folder(self.path.parent, remedy=REMEDY)
        with _one_at_a_time(self.path):
            everything = {**self.kept(), key: full_scale_v}
            write_file(self.path, json.dumps(everything, indent=1, ensure_ascii=False) + "\n", remedy=REMEDY)
        return str(self.path)


@contextmanager
def _one_at_a_time(path: Path) -> Iterator[None]:
    """Keep other threads and programs from writing a file meanwhile, on every system: by the lock of an empty database beside it.

    Raises
    ------
    CallError : another program didn't end in time, or the lock can't be had.
    """
    lock = sqlite3.connect(path.with_name(f".{path.name}.lock"), timeout=PATIENCE_S, isolation_level=None)
    with closing(lock):
        try:
            lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.Error as error:
            raise CallError(
                f"can't be written: {error}", code="not_written", where=str(path), remedy="try again"
            ) from None
        yield
