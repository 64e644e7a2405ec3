"""Uncertainty of the figures of a recorded tone: half-widths of their 95 % intervals.

Estimators' noise by the Cramer-Rao bounds of IEEE 1057 (which the fits reach within a few per cent, tests/truth), the noise
assumed white with the density found between the lines; calibration added in quadrature (JCGM 100:2008, 5.1.2).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.metering.spectrum import HIGH_HZ, LOW_HZ
from gainwright.physics import clipped_sine_thd

if TYPE_CHECKING:
    from gainwright.metering.clipping import Flattening
    from gainwright.metering.sine import SineFit
    from gainwright.metering.spectrum import Lines

K_95 = 1.959964
DB_PER_RATIO = 20 / math.log(10)
WINDOW_BINS = 4.0
"""Noise included in a line's sum over its skirts, bins; the four-term window alone has 2.0 (Harris 1978; seen: 4)."""
LEAKS = 1e-4
"""Error of the fitted amplitude due to higher harmonics, as a ratio (seen in tests/truth, no published source)."""


def half_widths(
    fit: SineFit, split: Lines, cut: Flattening | None, *, count: int, rate_hz: float, calibrated_within: float = 0.0
) -> dict[str, float]:
    """Return key -> half of the 95 % interval, in the key's own unit.

    Parameters
    ----------
    count : samples of the stretch that was measured.
    calibrated_within : uncertainty of the calibration as a ratio (95 %).
    """
    band_hz = min(HIGH_HZ, 0.5 * rate_hz) - LOW_HZ
    variance = split.noise * 0.5 * rate_hz / band_hz
    amplitude = max(fit.amplitude, 1e-12)
    leak = LEAKS * min(split.thd, 1.0)
    size = math.hypot(math.sqrt(2 * variance / count) / amplitude, leak)
    frequency_hz = rate_hz / (2 * math.pi) * math.sqrt(24 * variance / count / max(count**2 - 1, 1)) / amplitude
    frequency_hz = math.hypot(frequency_hz, leak * math.sqrt(12) * rate_hz / (2 * math.pi * count))
    line = math.sqrt(WINDOW_BINS) * size
    thd = max(K_95 * line, split.thd_of_noise if not split.harmonics or split.thd == 0 else 0.0)
    found = {
        "frequency_hz": K_95 * frequency_hz,
        "fundamental_dbfs": K_95 * DB_PER_RATIO * size,
        "rms_dbfs": K_95 * DB_PER_RATIO * size,
        "thd_percent": 100 * thd,
        "volts_percent": 100 * math.hypot(K_95 * size, calibrated_within),
    }
    if cut is not None:
        found["clip_depth_db"] = _depth(cut, line)
    return found


def _depth(cut: Flattening, line: float) -> float:
    """Convert an error of the distortion to clip depth by the slope of the closed form, plus the fit's resolution."""
    drive = 10 ** (max(cut.depth_db, 0.05) / 20)
    step = 1e-3
    slope = (
        float(clipped_sine_thd(drive=drive * 10 ** (step / 20)))
        - float(clipped_sine_thd(drive=drive * 10 ** (-step / 20)))
    ) / (2 * step)
    return K_95 * line / max(slope, 1e-6) + GRAIN_DB + GRAIN_SHARE * cut.depth_db


GRAIN_DB, GRAIN_SHARE = 0.005, 0.005
"""Error of the depth due to the recorder's band and the sample positions (seen in tests/truth, no published source)."""
