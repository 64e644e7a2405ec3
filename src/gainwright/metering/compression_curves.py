"""The reading of a sine driven into a hard or soft ceiling, as tables over the drive.

A drive of 0 dB just reaches a hard ceiling; levels are in dB relative to its reading. The hard ceiling
has closed forms (`gainwright.physics`); soft ones are by quadrature. Some are x/(1 + |x|^p)^(1/p), which is never quite flat
and approaches the hard one as p grows; others lose their slope as 1 - x^p does, and are flat where it is gone (p = 1 is a
parabola, 2 the cubic bend); one is a tanh, a transistor pair's. They bend from the beginning, or from the end of a straight
part on.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np

from gainwright import physics

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

Shows = Literal["rms", "average", "fundamental"]
Bend = Literal["power", "flat", "tanh"]
"""x/(1 + x^p)^(1/p); a slope of 1 - x^p that ends flat; tanh x."""
HARD = math.inf
HARD_ODDS = 2 / 3
"""Prior probability of a hard ceiling: feedback keeps most stages straight up to it (common practice, no published source)."""
SHARPNESSES = (HARD, *(1 / (0.01 * i) for i in range(1, 51)))
"""The ceilings without a straight part that are tried, evenly spaced in 1/p; the softest, p = 2, is softer than a tanh."""
STRAIGHTS = tuple(1 - 0.02 * i for i in range(1, 41))
"""The straight parts of the others, as shares of the ceiling."""
BENDS: tuple[tuple[float, Bend], ...] = (
    (2.0, "power"),
    (3.0, "power"),
    (1.5, "power"),
    (1.0, "flat"),
    (2.0, "flat"),
    (1.0, "tanh"),
)
"""Sharpness and kind of their bends."""
SHAPES: tuple[tuple[float, float, Bend], ...] = (
    *((p, 0.0, "power") for p in SHARPNESSES),
    *((p, a, bend) for p, bend in BENDS for a in STRAIGHTS),
)
"""Sharpness, straight part and kind of bend of all of them."""
LOW_DB, HIGH_DB, BY_DB = -30.0, 50.0, 0.1
_POINTS = 128


class CeilingShape(NamedTuple):
    """A ceiling and a kind of meter, whose curve is computed when it is asked for."""

    sharpness: float
    straight: float
    bend: Bend
    shows: Shows

    @property
    def kind(self) -> tuple[str, float, str]:
        """What it shares with those that differ only in how far they bend."""
        return self.shows, self.sharpness if self.straight > 0 else 0.0, self.bend

    def curve(self) -> CompressionCurve:
        """Return its table."""
        return compression_curve(self.sharpness, self.straight, self.bend, shows=self.shows)


@dataclass(frozen=True, slots=True, eq=False)
class CompressionCurve:
    """One shape of ceiling read by one kind of meter.

    Attributes
    ----------
    sharpness : p of the soft ceiling, infinite for a hard one.
    straight : the share of the ceiling up to which it doesn't bend.
    bend : its kind.
    shows : what the meter shows of it.
    drive_db, shown_db, thd : the table, shape (drives,) each.
    """

    sharpness: float
    straight: float
    bend: Bend
    shows: Shows
    drive_db: Floats
    shown_db: Floats
    thd: Floats

    @property
    def shape(self) -> CeilingShape:
        """What it is the curve of."""
        return CeilingShape(self.sharpness, self.straight, self.bend, self.shows)

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
        return _drive_at(self.sharpness, self.straight, self.bend, thd)


@functools.cache
def compression_curve(
    sharpness: float, straight: float = 0.0, bend: Bend = "power", *, shows: Shows
) -> CompressionCurve:
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
        return CompressionCurve(sharpness, straight, bend, shows, drive_db, 20 * np.log10(closed[shows]), thd)
    mean, square, first = _soft(sharpness, straight, bend)
    thd = np.sqrt(np.maximum(2 * square / first**2 - 1, 0))
    summed = {"rms": np.sqrt(2 * square), "average": mean * math.pi / 2, "fundamental": first}
    return CompressionCurve(sharpness, straight, bend, shows, drive_db, 20 * np.log10(summed[shows]), thd)


@functools.cache
def _soft(sharpness: float, straight: float, bend: Bend) -> tuple[Floats, Floats, Floats]:
    """Return mean, mean square and fundamental of a sine driven into a soft ceiling, by quadrature over a quarter."""
    wave = np.sin((np.arange(_POINTS) + 0.5) * np.pi / 2 / _POINTS)
    driven = 10 ** (np.arange(LOW_DB, HIGH_DB, BY_DB) / 20)[:, None] * wave
    over = np.maximum(driven - straight, 0) / (1 - straight)
    bent = _bent(over, sharpness, bend)
    shown = np.minimum(driven, straight) + (1 - straight) * bent
    return np.mean(shown, axis=1), np.mean(shown**2, axis=1), 2 * np.mean(shown * wave, axis=1)


def _bent(over: Floats, sharpness: float, bend: Bend) -> Floats:
    """Return a bend of slope 1 at 0 that comes to 1."""
    if bend == "tanh":
        return np.asarray(np.tanh(over))
    if bend == "flat":
        end = (sharpness + 1) / sharpness
        inside = np.minimum(over, end)
        return np.asarray(inside * (1 - (inside / end) ** sharpness / (sharpness + 1)))
    # the larger of 1 and x taken out, so that no power overflows
    ratio = np.minimum(over, 1 / np.maximum(over, 1.0))
    return np.asarray(np.minimum(over, 1.0) / (1 + ratio**sharpness) ** (1 / sharpness))


@functools.cache
def _drive_at(sharpness: float, straight: float, bend: Bend, thd: float) -> float:
    table = compression_curve(sharpness, straight, bend, shows="rms")
    return float(np.interp(thd, table.thd, table.drive_db))


@dataclass(frozen=True, slots=True)
class CurveTable:
    """Several curves in one table, to read all of them at once.

    Attributes
    ----------
    drive_at : the drive at which each reaches the limit, shape (curves,), dB.
    log_prior : logarithm of each one's prior weight, shape (curves,): hard or soft, and of the soft ones those
        that bend from the beginning as likely as all that bend after a straight part.
    """

    curves: tuple[CompressionCurve, ...]
    drive_at: Floats
    log_prior: Floats
    _shown: Floats

    @classmethod
    def of(cls, curves: Sequence[CompressionCurve], limit_thd: float) -> CurveTable:
        """Return the table of some curves, with the drives of a limit."""
        soft = (1 - HARD_ODDS) / 2
        begun, straight = soft / (len(SHARPNESSES) - 1), soft / len(BENDS) / len(STRAIGHTS)
        prior = [0.5 if math.isinf(curve.sharpness) else begun if curve.straight == 0 else straight for curve in curves]
        return cls(
            tuple(curves),
            np.array([curve.drive_at(limit_thd) for curve in curves]),
            np.log(prior),
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
