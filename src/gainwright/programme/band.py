"""A band of the programme: what the filters in front of one speaker leave of a recording."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Sections = npt.NDArray[np.float64]

HIGHEST_CORNER = 0.45
"""Of the sample rate; a low-pass above passes all there is, a high-pass above is set here."""
SLOPES = {"linkwitz-riley": (12, 24, 36, 48), "butterworth": tuple(range(6, 49, 6)), "bessel": tuple(range(6, 49, 6))}
"""Shape -> slopes in dB per octave that an edge may have."""


@dataclass(frozen=True, slots=True)
class Edge:
    """One filter: its shape, slope and corner. The digital twin is the bilinear transform, pre-warped at the corner."""

    corner_hz: float
    shape: str = "linkwitz-riley"
    slope_db_per_octave: int = 24

    def __post_init__(self) -> None:
        if not (math.isfinite(self.corner_hz) and self.corner_hz > 0):
            raise ValueError(f"a corner is above 0 Hz, not {self.corner_hz!r}")
        if self.slope_db_per_octave not in SLOPES.get(self.shape, ()):
            raise ValueError(f"no {self.shape} filter of {self.slope_db_per_octave} dB per octave")

    def sections(self, kind: str, rate_hz: int) -> Sections:
        """Return the second-order sections (b0 b1 b2 1 a1 a2) of a `low` or `high` pass at a sample rate."""
        from scipy import signal

        order = self.slope_db_per_octave // 6
        corner = min(self.corner_hz, HIGHEST_CORNER * rate_hz)
        if kind == "low" and self.corner_hz > corner:
            return np.zeros((0, 6))
        if self.shape == "bessel":
            found = signal.bessel(order, corner, kind, norm="mag", output="sos", fs=rate_hz)
        elif self.shape == "butterworth":
            found = signal.butter(order, corner, kind, output="sos", fs=rate_hz)
        else:
            half = np.atleast_2d(signal.butter(order // 2, corner, kind, output="sos", fs=rate_hz))
            found = np.vstack([half, half])
        return np.asarray(np.atleast_2d(found), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Band:
    """A named part of the programme: what lies above `high_pass` and below `low_pass`; no filter passes everything."""

    name: str
    high_pass: Edge | None = None
    low_pass: Edge | None = None

    def sections(self, rate_hz: int) -> Sections:
        """Return all second-order sections of the band, none when it is the whole programme."""
        high = self.high_pass.sections("high", rate_hz) if self.high_pass else np.zeros((0, 6))
        low = self.low_pass.sections("low", rate_hz) if self.low_pass else np.zeros((0, 6))
        return np.vstack([high, low])


USUAL_BANDS = (
    Band("full"),
    Band("sub", low_pass=Edge(80.0)),
    Band("high", high_pass=Edge(80.0)),
)
"""Without a job: everything, under and over 80 Hz, 24 dB per octave (common practice, no published source)."""
