"""The calibrations of sound inputs, in a file of the user's settings folder."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING

from gainwright.adapters.files import make_folder, write_file
from gainwright.adapters.user_folders import config_path
from gainwright.errors import CallError

if TYPE_CHECKING:
    from pathlib import Path

FILE = "calibrations.json"
REMEDY = "set XDG_CONFIG_HOME"


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
        everything = {**self.kept(), key: full_scale_v}
        make_folder(self.path.parent, remedy=REMEDY)
        write_file(self.path, json.dumps(everything, indent=1, ensure_ascii=False) + "\n", remedy=REMEDY)
        return str(self.path)
