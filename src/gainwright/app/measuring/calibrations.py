"""What full scale of an input stands for in volts, kept by device and gain."""

from __future__ import annotations

import json
import math
import os
from pathlib import Path

from gainwright.errors import CallError

FILE = "calibrations.json"


def calibrations_file() -> Path:
    """Return where calibrations are kept: the person's own settings folder."""
    home = os.environ.get("XDG_CONFIG_HOME") or os.environ.get("APPDATA")
    return (Path(home) if home else Path.home() / ".config") / "gainwright" / FILE


def kept_calibrations() -> dict[str, float]:
    """Return device and gain -> volts rms of a full-scale sine.

    Raises
    ------
    CallError : the file is damaged.
    """
    path = calibrations_file()
    if not path.is_file():
        return {}
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        values = {str(key): float(value) for key, value in found.items()}
    except (OSError, ValueError, AttributeError, TypeError) as error:
        raise CallError(
            f"can't be read ({type(error).__name__})",
            code="damaged",
            where=str(path),
            remedy="delete it and calibrate again",
        ) from None
    return {key: value for key, value in values.items() if math.isfinite(value) and value > 0}


def keep_calibration(key: str, full_scale_v: float) -> Path:
    """Keep one, beside all others; return the file.

    Raises
    ------
    CallError : the file is damaged or can't be written.
    """
    path = calibrations_file()
    everything = {**kept_calibrations(), key: full_scale_v}
    part = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(json.dumps(everything, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise CallError(
            f"can't be written: {error.strerror}", code="not_written", where=str(path), remedy="set XDG_CONFIG_HOME"
        ) from None
    return path
