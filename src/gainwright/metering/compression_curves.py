"""The reading of a sine driven into a hard or soft ceiling, as tables over the drive.

A drive of 0 dB just reaches a hard ceiling; levels are in dB relative to its reading. The hard ceiling
has closed forms (`gainwright.physics`); soft ones are x/(1 + |x|^p)^(1/p), by quadrature, and approach the hard one as p
grows.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from gainwright import physics

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

Shows = Literal["rms", "average", "fundamental"]
HARD = math.inf
SHARPNESSES = (HARD, *(1 / (0.0075 * i) for i in range(1, 45)))
"""The shapes that are tried, evenly spaced in 1/p; the softest is at 1 % THD some 6 dB under its final ceiling."""
LOW_DB, HIGH_DB, BY_DB = -30.0, 50.0, 0.1
_POINTS = 256


@dataclass(frozen=True, slots=True, eq=False)
class CompressionCurve:
    """One shape of ceiling read by one kind of meter.

    Attributes
    ----------
    sharpness : p of the soft ceiling, infinite for a hard one.
    drive_db, shown_db, thd : the table, shape (drives,) each.
    """

    sharpness: float
    drive_db: Floats
    shown_db: Floats
    thd: Floats

    def shown(self, drive_db: Any) -> Floats:
        """Return the readings at some drives, dB relative to the sine that just reaches the ceiling."""
        place = (np.asarray(drive_db, dtype=np.float64) - LOW_DB) / BY_DB
        inside = np.clip(place, 0, len(self.drive_db) - 1.000001)
        whole = inside.astype(np.intp)
        share = inside - whole
        shown = self.shown_db[whole] * (1 - share) + self.shown_db[whole + 1] * share
        # below the table everything is linear
        return np.asarray(np.where(place < 0, drive_db, shown))

    def slope(self, drive_db: Any) -> Floats:
        """Return the rise of the reading per dB of drive, dB."""
        return np.asarray(
            (self.shown(np.asarray(drive_db) + BY_DB) - self.shown(np.asarray(drive_db) - BY_DB)) / (2 * BY_DB)
        )

    def drive_at(self, thd: float) -> float:
        """Return the drive at which THD reaches a ratio, dB."""
        return _drive_at(self.sharpness, thd)


@functools.cache
def compression_curve(sharpness: float, *, shows: Shows) -> CompressionCurve:
    """Return the table of one ceiling and one kind of reading: rms, rectified mean scaled for a sine, or fundamental."""
    drive_db = np.arange(LOW_DB, HIGH_DB, BY_DB)
    drive = 10 ** (drive_db / 20)
    if math.isinf(sharpness):
        closed = {
            "rms": physics.clipped_sine_rms(drive=drive) * math.sqrt(2),
            "average": physics.clipped_sine_mean_abs(drive=drive) * math.pi / 2,
            "fundamental": physics.clipped_sine_fundamental(drive=drive),
        }
        return CompressionCurve(
            sharpness, drive_db, 20 * np.log10(closed[shows]), physics.clipped_sine_thd(drive=drive)
        )
    wave = np.sin((np.arange(_POINTS) + 0.5) * np.pi / 2 / _POINTS)
    driven = drive[:, None] * wave
    # x/(1 + x^p)^(1/p), with the larger of 1 and x taken out so that no power overflows
    large = np.maximum(driven, 1.0)
    bent = driven / (large * ((1 / large) ** sharpness + (driven / large) ** sharpness) ** (1 / sharpness))
    square = np.mean(bent**2, axis=1)
    first = 2 * np.mean(bent * wave, axis=1)
    thd = np.sqrt(np.maximum(2 * square / first**2 - 1, 0))
    summed = {"rms": np.sqrt(2 * square), "average": np.mean(bent, axis=1) * math.pi / 2, "fundamental": first}
    return CompressionCurve(sharpness, drive_db, 20 * np.log10(summed[shows]), thd)


@functools.cache
def _drive_at(sharpness: float, thd: float) -> float:
    table = compression_curve(sharpness, shows="rms")
    return float(np.interp(thd, table.thd, table.drive_db))
