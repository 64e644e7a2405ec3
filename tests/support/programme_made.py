"""Statistics of samples made by a test, counted with plain numpy, without the program's own kernels."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from gainwright.programme import LEVEL_EDGES, LEVELS, POWER_LOW_DBFS, POWER_STEP_DB, POWERS, BandStatistics
from gainwright.programme.allowance import TrackBand

if TYPE_CHECKING:
    import numpy.typing as npt

RATE_HZ = 48_000


def band_of(samples: npt.NDArray[np.float64], name: str = "full") -> BandStatistics:
    """Return the statistics of one channel; windows of 1 s one after the other, a shorter one its whole."""
    x = np.asarray(samples, dtype=np.float32).astype(np.float64)
    size = np.abs(x)
    # level k from LEVEL_EDGES[k] on, the lowest and the highest without end: counted along the sorted samples
    places = np.searchsorted(np.sort(size), LEVEL_EDGES[1:LEVELS], side="left")
    levels = np.diff(places, prepend=0, append=size.size).astype(np.int64)
    length = min(RATE_HZ, x.size)
    seconds = (x[: x.size // length * length].reshape(-1, length) ** 2).mean(axis=1)
    level = 10 * np.log10(np.maximum(2 * seconds, 1e-30))
    powers = np.clip((level - POWER_LOW_DBFS) / POWER_STEP_DB, 0, POWERS - 1).astype(np.int64)
    counts = np.bincount(powers, minlength=POWERS).astype(np.int64)
    return BandStatistics(
        name=name,
        samples=x.size,
        peak=float(size.max(initial=0)),
        true_peak=float(size.max(initial=0)),
        energy=float((x * x).sum()),
        dc=float(x.mean()) if x.size else 0.0,
        clipped=0,
        worst_1s=float(seconds.max(initial=0)),
        levels=levels,
        power_100ms=counts,
        power_1s=counts,
    )


def band_of_windows(mean_squares: npt.NDArray[np.float64], peak: float = 4.0) -> BandStatistics:
    """Return the statistics of one channel with these mean squares over 100 ms; its samples are one full-scale one."""
    sums = np.concatenate([[0.0], np.cumsum(mean_squares)])
    seconds = (sums[10:] - sums[:-10]) / 10 if len(mean_squares) >= 10 else mean_squares.mean(keepdims=True)

    def counts(squares: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
        steps = (10 * np.log10(np.maximum(2 * squares, 1e-30)) - POWER_LOW_DBFS) / POWER_STEP_DB
        places = np.clip(np.floor(steps), 0, POWERS - 1).astype(np.int64)
        return np.bincount(places, minlength=POWERS).astype(np.int64)

    return replace(
        band_of(np.array([1.0])),
        peak=peak,
        worst_1s=float(seconds.max()),
        power_100ms=counts(mean_squares),
        power_1s=counts(seconds),
    )


def part_of(track: str, samples: npt.NDArray[np.float64]) -> TrackBand:
    """Return samples at 48 kHz as a track of a list."""
    return TrackBand(track, samples.size / RATE_HZ, band_of(samples))
