"""The reading of a sine driven into a hard or soft ceiling, as tables over the drive.

A drive of 0 dB just reaches a hard ceiling; levels are in dB relative to its reading. The hard ceiling
has closed forms (`gainwright.physics`); soft ones are x/(1 + |x|^p)^(1/p), by quadrature, and approach the hard one as p
grows. They bend from the beginning, or from the end of a straight part on.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from gainwright import physics

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

Shows = Literal["rms", "average", "fundamental"]
HARD = math.inf
SHARPNESSES = (HARD, *(1 / (0.01 * i) for i in range(1, 51)))
"""The ceilings without a straight part that are tried, evenly spaced in 1/p; the softest, p = 2, is softer than a tanh."""
STRAIGHTS = tuple(1 - 0.04 * i for i in range(1, 21))
"""The straight parts of the others, as shares of the ceiling; they bend with p = 2."""
SHAPES = (*((p, 0.0) for p in SHARPNESSES), *((2.0, a) for a in STRAIGHTS))
"""Sharpness and straight part of all of them."""
LOW_DB, HIGH_DB, BY_DB = -30.0, 50.0, 0.1
_POINTS = 128


@dataclass(frozen=True, slots=True, eq=False)
class CompressionCurve:
    """One shape of ceiling read by one kind of meter.

    Attributes
    ----------
    sharpness : p of the soft ceiling, infinite for a hard one.
    straight : the share of the ceiling up to which it doesn't bend.
    shows : what the meter shows of it.
    drive_db, shown_db, thd : the table, shape (drives,) each.
    """

    sharpness: float
    straight: float
    shows: Shows
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
        return _drive_at(self.sharpness, self.straight, thd)


@functools.cache
def compression_curve(sharpness: float, straight: float = 0.0, *, shows: Shows) -> CompressionCurve:
    """Return the table of one ceiling and one kind of reading: rms, rectified mean scaled for a sine, or fundamental."""
    drive_db = np.arange(LOW_DB, HIGH_DB, BY_DB)
    if math.isinf(sharpness):
        drive = 10 ** (drive_db / 20)
        closed = {
            "rms": physics.clipped_sine_rms(drive=drive) * math.sqrt(2),
            "average": physics.clipped_sine_mean_abs(drive=drive) * math.pi / 2,
            "fundamental": physics.clipped_sine_fundamental(drive=drive),
        }
        thd = physics.clipped_sine_thd(drive=drive)
        return CompressionCurve(sharpness, straight, shows, drive_db, 20 * np.log10(closed[shows]), thd)
    mean, square, first = _soft(sharpness, straight)
    thd = np.sqrt(np.maximum(2 * square / first**2 - 1, 0))
    summed = {"rms": np.sqrt(2 * square), "average": mean * math.pi / 2, "fundamental": first}
    return CompressionCurve(sharpness, straight, shows, drive_db, 20 * np.log10(summed[shows]), thd)


@functools.cache
def _soft(sharpness: float, straight: float) -> tuple[Floats, Floats, Floats]:
    """Return mean, mean square and fundamental of a sine driven into a soft ceiling, by quadrature over a quarter."""
    wave = np.sin((np.arange(_POINTS) + 0.5) * np.pi / 2 / _POINTS)
    driven = 10 ** (np.arange(LOW_DB, HIGH_DB, BY_DB) / 20)[:, None] * wave
    over = np.maximum(driven - straight, 0) / (1 - straight)
    # x/(1 + x^p)^(1/p), with the larger of 1 and x taken out so that no power overflows
    large = np.maximum(over, 1.0)
    ratio = np.minimum(over, 1 / large)
    bent = np.minimum(over, 1.0) / (1 + ratio**sharpness) ** (1 / sharpness)
    shown = np.minimum(driven, straight) + (1 - straight) * bent
    return np.mean(shown, axis=1), np.mean(shown**2, axis=1), 2 * np.mean(shown * wave, axis=1)


@functools.cache
def _drive_at(sharpness: float, straight: float, thd: float) -> float:
    table = compression_curve(sharpness, straight, shows="rms")
    return float(np.interp(thd, table.thd, table.drive_db))


@dataclass(frozen=True, slots=True)
class CurveTable:
    """Several curves in one table, to read all of them at once.

    Attributes
    ----------
    drive_at : the drive at which each reaches the limit, shape (curves,), dB.
    log_prior : logarithm of each one's prior weight: hard or soft at even odds, shape (curves,).
    """

    curves: tuple[CompressionCurve, ...]
    drive_at: Floats
    log_prior: Floats
    _shown: Floats

    @classmethod
    def of(cls, curves: Sequence[CompressionCurve], limit_thd: float) -> CurveTable:
        """Return the table of some curves, with the drives of a limit."""
        soft = math.log(len(SHAPES) - 1)
        return cls(
            tuple(curves),
            np.array([curve.drive_at(limit_thd) for curve in curves]),
            np.array([soft if math.isinf(curve.sharpness) else 0.0 for curve in curves]),
            np.concatenate([curve.shown_db for curve in curves]),
        )

    def shown(self, drive_db: Floats, which: npt.NDArray[np.intp]) -> tuple[Floats, Floats]:
        """Return the readings of some curves at some drives, dB, and their rise per dB of drive."""
        count = len(self._shown) // len(self.curves)
        place = (drive_db - LOW_DB) / BY_DB
        inside = np.clip(place, 0, count - 1.000001)
        whole = inside.astype(np.intp)
        inside -= whole
        whole += which * count
        first = self._shown[whole]
        rise = self._shown[whole + 1] - first
        linear = place < 0
        return np.where(linear, drive_db, first + rise * inside), np.where(linear, 1.0, rise / BY_DB)
