"""Measuring one recording."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.errors import CallError

if TYPE_CHECKING:
    from pathlib import Path

    from gainwright.metering import Measurement


def measure(file: Path, *, calibrate_v: float | None, expect_hz: float | None, limit_percent: float) -> Measurement:
    """Read a recording and measure it.

    Raises
    ------
    RecordingError : it can't be read or holds no numbers.
    CallError : an option out of its bounds.
    """
    for name, value, low, high, unit in (
        ("--calibrate", calibrate_v, 1e-6, 1e4, "V"),
        ("--expect", expect_hz, 1.0, 1e5, "Hz"),
        ("--limit", limit_percent, 1e-4, 48.0, "%"),
    ):
        if value is not None and not (math.isfinite(value) and low <= value <= high):
            raise CallError(f"{name} {value:g}", code="bad_option", rule=f"it is {low:g} to {high:g} {unit}")
    from gainwright.metering import measure as run
    from gainwright.metering import read_recording

    return run(read_recording(file), calibrate_v=calibrate_v, expect_hz=expect_hz, limit_percent=limit_percent)
