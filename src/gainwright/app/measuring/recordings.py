"""Measuring one recording: a tone, or the noise when none plays."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from gainwright.errors import CallError

if TYPE_CHECKING:
    from pathlib import Path

    from gainwright.metering import Measurement, NoiseChannel, Onset


def _checked(*values: tuple[str, float | None, float, float, str]) -> None:
    """Refuse a value outside its bounds."""
    for name, value, low, high, unit in values:
        if value is not None and not (math.isfinite(value) and low <= value <= high):
            raise CallError(
                f"a {name} of {value:g}", code="bad_option", where=name, rule=f"it is {low:g} to {high:g} {unit}"
            )


def measure(
    file: Path,
    *,
    calibrate_v: float | None,
    expect_hz: float | None,
    limit_percent: float,
    within_percent: float = 0.0,
) -> Measurement:
    """Read a recording and measure it.

    Raises
    ------
    RecordingError : it can't be read or holds no numbers.
    CallError : an option out of its bounds.
    """
    _checked(
        ("calibration", calibrate_v, 1e-6, 1e4, "V"),
        ("expected frequency", expect_hz, 1.0, 1e5, "Hz"),
        ("THD limit", limit_percent, 1e-4, 48.0, "%"),
        ("tolerance of the calibration", within_percent, 0.0, 50.0, "%"),
    )
    from gainwright.metering import measure as run
    from gainwright.metering import read_recording

    return run(
        read_recording(file),
        calibrate_v=calibrate_v,
        calibrated_within=within_percent / 100,
        expect_hz=expect_hz,
        limit_percent=limit_percent,
    )


def noise(
    file: Path,
    *,
    calibrate_v: float | None,
    power_w: float | None,
    load_ohm: float | None,
    within_percent: float = 0.0,
) -> tuple[NoiseChannel, ...]:
    """Read a recording without a tone and measure its noise.

    Raises
    ------
    RecordingError : it can't be read or holds no numbers.
    CallError : an option out of its bounds, or a power without load or calibration.
    """
    _checked(
        ("calibration", calibrate_v, 1e-6, 1e4, "V"),
        ("power", power_w, 1e-6, 1e5, "W"),
        ("load", load_ohm, 0.01, 1e6, "ohm"),
        ("tolerance of the calibration", within_percent, 0.0, 50.0, "%"),
    )
    if (power_w is None) != (load_ohm is None) or (power_w is not None and calibrate_v is None):
        raise CallError(
            "signal to noise needs all three together",
            code="bad_call",
            where="power, load and calibration",
            remedy="for example 300 W, 4 ohm, and a full scale of 63 V",
        )
    from gainwright.metering import measure_noise, read_recording

    reference_v = math.sqrt(power_w * load_ohm) if power_w is not None and load_ohm is not None else None
    return measure_noise(
        read_recording(file),
        calibrate_v=calibrate_v,
        calibrated_within=within_percent / 100,
        reference_v=reference_v,
    )


def onset(file: Path, *, limit_percent: float, expect_hz: float | None, behind: list[str]) -> tuple[Onset, ...]:
    """Read a recording of a tone that gets louder and find where it begins to clip.

    Raises
    ------
    RecordingError : it can't be read or holds no numbers.
    CallError : an option out of its bounds.
    QuantityError : a filter that is none.
    """
    _checked(("THD limit", limit_percent, 0.01, 40.0, "%"), ("expected frequency", expect_hz, 1.0, 1e5, "Hz"))
    from gainwright.metering import find_onset, read_recording

    response = _response([text for text in behind if text.strip().lower() != "off"])
    return find_onset(read_recording(file), limit_percent=limit_percent, expect_hz=expect_hz, behind=response)


def _response(texts: list[str]) -> Any:
    """Return the response of low-pass filters in a row, None without any."""
    if not texts:
        return None
    from gainwright import physics
    from gainwright.model import FilterSetting

    settings = [FilterSetting.parse(text) for text in texts]

    def of(frequency_hz: Any) -> Any:
        total: Any = 1.0
        for setting in settings:
            assert setting.corner is not None  # noqa: S101  off was left out
            total = total * physics.filter_response(
                shape=setting.shape,
                slope_db_per_octave=setting.slope_db_per_octave,
                kind="low",
                corner_hz=setting.corner.nominal,
                frequency_hz=frequency_hz,
            )
        return total

    return of
