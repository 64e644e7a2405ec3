"""A band of the programme: the part of a recording that the filters of one path pass."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.physics import SLOPES_DB_PER_OCTAVE, prototype_poles

if TYPE_CHECKING:
    import numpy.typing as npt

    Sections = npt.NDArray[np.float64]

_REAL = 1e-9
"""A pole with a smaller imaginary part counts as real."""
HIGHEST_CORNER = 0.45
"""Highest corner as a share of the sample rate; a low-pass above it is left out, a high-pass is moved to it."""


@dataclass(frozen=True, slots=True)
class Edge:
    """One filter: its shape, slope and corner; made digital by the bilinear transform, pre-warped at the corner."""

    corner_hz: float
    shape: str = "linkwitz-riley"
    slope_db_per_octave: int = 24

    def __post_init__(self) -> None:
        if not (math.isfinite(self.corner_hz) and self.corner_hz > 0):
            raise ValueError(f"a corner is above 0 Hz, not {self.corner_hz!r}")
        if self.slope_db_per_octave not in SLOPES_DB_PER_OCTAVE.get(self.shape, ()):
            raise ValueError(f"no {self.shape} filter of {self.slope_db_per_octave} dB per octave")

    def sections(self, kind: str, rate_hz: int) -> Sections:
        """Return the second-order sections (b0 b1 b2 1 a1 a2) of a `low` or `high` pass at a sample rate.

        One for each pair of the prototype's poles, lowest q first.
        """
        corner_hz = min(self.corner_hz, HIGHEST_CORNER * rate_hz)
        if kind == "low" and self.corner_hz > corner_hz:
            return np.zeros((0, 6))
        warped = math.tan(math.pi * corner_hz / rate_hz)
        poles = prototype_poles(shape=self.shape, slope_db_per_octave=self.slope_db_per_octave)
        by_damping = sorted((pole for pole in poles if pole.imag > -_REAL), key=lambda pole: pole.real / abs(pole))
        return np.array([_section(pole, kind, warped) for pole in by_damping])


def _section(pole: complex, kind: str, warped: float) -> list[float]:
    """Return the section (b0 b1 b2 1 a1 a2) of a real pole, or of a pole and its conjugate.

    The analogue section is size / (s^2 + damping s + size), or rate / (s + rate) for a real pole; a high-pass has 1/s
    in place of s. Bilinear transform, pre-warped: s = (1 - 1/z) / (1 + 1/z) / tan(pi corner / rate).
    """
    if abs(pole.imag) <= _REAL:
        rate = -pole.real
        b, a = ((rate * warped,) * 2, (rate * warped + 1, rate * warped - 1))
        if kind == "high":
            b, a = ((rate, -rate), (rate + warped, warped - rate))
        return [b[0] / a[0], b[1] / a[0], 0.0, 1.0, a[1] / a[0], 0.0]
    size, damping, square = abs(pole) ** 2, -2 * pole.real * warped, warped**2
    gain, twice, whole = size * square, 2 * (size * square - 1), size * square + 1
    middle = 2 * gain
    if kind == "high":
        gain, twice, whole = size, 2 * (square - size), square + size
        middle = -2 * gain
    first = whole + damping
    return [gain / first, middle / first, gain / first, 1.0, twice / first, (whole - damping) / first]


@dataclass(frozen=True, slots=True)
class Band:
    """A named part of the programme, above `high_pass` and below `low_pass`; a filter that is None passes everything."""

    name: str
    high_pass: Edge | None = None
    low_pass: Edge | None = None

    def sections(self, rate_hz: int) -> Sections:
        """Return all second-order sections of the band; none for the whole programme."""
        high = self.high_pass.sections("high", rate_hz) if self.high_pass else np.zeros((0, 6))
        low = self.low_pass.sections("low", rate_hz) if self.low_pass else np.zeros((0, 6))
        return np.vstack([high, low])


USUAL_BANDS = (
    Band("full"),
    Band("sub", low_pass=Edge(80.0)),
    Band("high", high_pass=Edge(80.0)),
)
"""Bands without a job: everything, below and above 80 Hz, 24 dB per octave (common practice, no published source)."""
