"""The uncertainty of a number, as a distribution with a quantile function."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

COVERAGE_95 = NormalDist().inv_cdf(0.975)
"""Half-width of the central 95 % of a normal distribution in standard deviations (JCGM 100:2008 table G.1)."""


@dataclass(frozen=True, slots=True)
class Exact:
    """No spread."""

    value: float

    @property
    def nominal(self) -> float:
        """The value."""
        return self.value

    @property
    def interval(self) -> tuple[float, float]:
        """The value twice."""
        return self.value, self.value

    def quantile(self, probability: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return the value in the shape of `probability`."""
        import numpy as np

        return np.full(np.shape(probability), self.value)


@dataclass(frozen=True, slots=True)
class Normal:
    """A normal distribution; `half_width` is half of its central 95 % interval (JCGM 100:2008, 6.3)."""

    mean: float
    half_width: float
    low: float = float("-inf")
    """A physical lower bound (a resistance is never negative): draws below it are set to it."""

    @property
    def nominal(self) -> float:
        """The mean."""
        return self.mean

    @property
    def interval(self) -> tuple[float, float]:
        """The central 95 % interval."""
        return max(self.mean - self.half_width, self.low), self.mean + self.half_width

    def quantile(self, probability: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return the quantiles at `probability`, in its shape."""
        import numpy as np

        values = self.mean + self.half_width / COVERAGE_95 * _standard_normal_quantile(probability)
        return np.asarray(np.maximum(values, self.low), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Uniform:
    """A uniform distribution between two bounds."""

    low: float
    high: float

    @property
    def nominal(self) -> float:
        """The middle."""
        return 0.5 * (self.low + self.high)

    @property
    def interval(self) -> tuple[float, float]:
        """The central 95 % interval."""
        margin = 0.025 * (self.high - self.low)
        return self.low + margin, self.high - margin

    def quantile(self, probability: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return the quantiles at `probability`, in its shape."""
        return self.low + (self.high - self.low) * probability


@dataclass(frozen=True, slots=True)
class Unknown:
    """Given as `unknown`: the catalogue's prior for the kind is used instead."""


Spread = Exact | Normal | Uniform | Unknown


def _standard_normal_quantile(probability: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the inverse of the standard normal distribution function.

    Acklam's rational start would give 1e-9; statistics.NormalDist (Wichura's AS 241, 1e-16) is used instead, value by
    value, since importing scipy.special takes 0.36 s and draws are made once per job.
    """
    import numpy as np

    inverse = NormalDist().inv_cdf
    flat = np.clip(np.ravel(probability), 1e-12, 1 - 1e-12)
    found = np.fromiter(map(inverse, flat.tolist()), dtype=np.float64, count=flat.size)
    return np.reshape(found, np.shape(probability))
