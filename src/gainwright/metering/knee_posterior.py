"""The posterior behind the knee: a grid over onset, step, shape and unevenness; linear parameters integrated out."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.metering.compression_curves import SHARPNESSES, CompressionCurve

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

UNEVEN_DB = (0.0, 0.05, 0.15)
"""Standard deviations of single steps, of equal prior weight."""
WANDER_DB = (0.0, 0.03, 0.1)
"""Standard deviations of a step's size, adding up along the travel."""
SAG_DB = 0.01
"""Standard deviation of the drop of a ceiling under drive (common practice, no published source)."""
FREEDOM = 4.0
"""Degrees of freedom of the t distribution used to weight readings."""
COARSE, FINE = 32, 48
"""Points of x and of d in the passes over the grid."""
EVERY = 4
"""The first passes look at every fourth shape."""
UNLIKELY = 1e-4
FLATTENED = (300.0, 30.0, 5.0)
DB_PER_RATIO = 20 / math.log(10)
LEAST_DB, MOST_DB = 0.05, 12.0
"""A step's size, dB."""

Kind = tuple[CompressionCurve, float, float]
"""A shape of ceiling, an unevenness and a wander."""


@dataclass(slots=True)
class Posterior:
    """Posterior over (bend, unevenness, x, d), flattened: weights and predictions of each point."""

    weights: Floats
    onset: Floats
    per_step: Floats
    centre: Floats
    centre_var: Floats
    sharpness: Floats
    cell: tuple[float, float]
    kinds: Sequence[Kind]

    def shares(self) -> Floats:
        """Return the weight of each kind relative to the largest."""
        each = len(self.weights) // len(self.kinds)
        found = np.add.reduceat(self.weights, np.arange(0, len(self.weights), each))
        return np.asarray(found / np.max(found))


@dataclass(frozen=True, slots=True)
class Readings:
    """The readings as used by the posterior: steps, dB re 1 V, each one's noise, range and weight, range variance."""

    s: Floats
    y: Floats
    noise_db: Floats
    ranges: npt.NDArray[np.intp]
    range_var: float
    weights: Floats
    limit_thd: float


def posterior(data: Readings, bends: Sequence[CompressionCurve]) -> Posterior:
    """Evaluate a coarse grid, then a fine one where the weight is."""
    s, y = data.s, data.y
    apart = np.diff(s)
    rises = np.diff(y)[apart > 0] / apart[apart > 0]
    fastest = float(np.clip(np.quantile(rises, 0.75), LEAST_DB, MOST_DB)) if len(rises) else 1.0
    x = np.linspace(s[0] - 3 / fastest, s[-1] + 0.4 * (s[-1] - s[0]) + 20 / fastest, COARSE)
    d = fastest * np.geomspace(0.4, 2.5, COARSE)
    # far from the peak a narrow posterior falls between the points of a wide grid: flatten it until the grid is near
    coarse = bends[::EVERY]
    for flattened in FLATTENED:
        grid = _weighed(data, [(shape, UNEVEN_DB[1], WANDER_DB[1]) for shape in coarse], x, d, flattened=flattened)
        x, d = _around(grid.onset, grid.weights, x, COARSE), _around(grid.per_step, grid.weights, d, COARSE)
    coarse = [shape for (shape, _, _), share in zip(grid.kinds, grid.shares(), strict=True) if share > UNLIKELY]
    grid = _weighed(data, list(itertools.product(coarse, UNEVEN_DB, WANDER_DB)), x, d)
    likely = {kind for kind, share in zip(grid.kinds, grid.shares(), strict=True) if share > UNLIKELY}
    kinds = [
        (bends[j], sigma, wander)
        for j, sigma, wander in sorted(
            {
                (j, sigma, wander)
                for shape, sigma, wander in likely
                for j in range(bends.index(shape) - EVERY + 1, bends.index(shape) + EVERY)
                if 0 <= j < len(bends)
            }
        )
    ]
    x, d = _around(grid.onset, grid.weights, x, FINE), _around(grid.per_step, grid.weights, d, FINE)
    return _weighed(data, kinds, x, d)


def _around(values: Floats, weights: Floats, grid: Floats, points: int) -> Floats:
    """Return a finer grid where the weight is, plus two old cells on either side."""
    share = np.array([np.sum(weights[values == g]) for g in grid])
    held = np.flatnonzero(share > 1e-5 * np.max(share))
    return np.linspace(grid[max(held[0] - 1, 0)], grid[min(held[-1] + 1, len(grid) - 1)], points)


def _weighed(data: Readings, kinds: Sequence[Kind], x: Floats, d: Floats, *, flattened: float = 1.0) -> Posterior:
    """Return the posterior on kinds by x by d, the common level integrated out under a flat prior; kinds of one shape stand together."""
    s, count, size = data.s, len(data.s), x.size * d.size
    over = (d[None, :, None] * (s - x[:, None, None])).reshape(size, count)
    logs: list[Floats] = []
    centres: list[Floats] = []
    variances: list[Floats] = []
    for shape, of_shape in itertools.groupby(kinds, key=lambda kind: kind[0]):
        residual = data.y - shape.shown(over + shape.drive_at(data.limit_thd))
        # unevenness is compressed as the level is: evaluate it near the best point of this shape
        middle = residual @ data.weights / np.sum(data.weights)
        best = int(np.argmin((residual - middle[:, None]) ** 2 @ data.weights))
        passes = np.clip(shape.slope(over[best] + shape.drive_at(data.limit_thd)), 0, 1)
        uneven = [(sigma, wander) for _, sigma, wander in of_shape]
        lower = _whitening(data, passes, _walk(s, float(x[best // d.size])), uneven)
        ones = lower.sum(axis=2)
        information = np.sum(ones**2, axis=1)
        centre = np.einsum("ui,uij->uj", ones, lower) @ residual.T / information[:, None]
        white = (lower.reshape(-1, count) @ residual.T).reshape(len(uneven), count, size)
        square = np.einsum("uik,uik->uk", white, white) - information[:, None] * centre**2
        prior = math.log(len(SHARPNESSES) - 1) if math.isinf(shape.sharpness) else 0.0  # hard or soft, even odds
        constant = np.sum(np.log(np.diagonal(lower, axis1=1, axis2=2)), axis=1) - 0.5 * np.log(information)
        logs.append((prior + constant[:, None] - 0.5 * square).ravel())
        centres.append(centre.ravel())
        variances.append(np.repeat(1 / information, size))
    onset, per_step = np.repeat(x, d.size), np.tile(d, x.size)
    log = np.concatenate(logs) - np.tile(np.log(per_step), len(kinds))  # d: flat in its logarithm
    share = np.exp((log - np.max(log)) / flattened)
    return Posterior(
        share / np.sum(share),
        np.tile(onset, len(kinds)),
        np.tile(per_step, len(kinds)),
        np.concatenate(centres),
        np.concatenate(variances),
        np.repeat([shape.sharpness for shape, _, _ in kinds], size),
        (float(x[1] - x[0]), float(d[1] - d[0])),
        kinds,
    )


def _whitening(data: Readings, passes: Floats, walk: Floats, uneven: Sequence[tuple[float, float]]) -> Floats:
    """Return the inverse Cholesky factor of the readings' covariance for each unevenness and wander, shape (uneven, readings, readings)."""
    same_range = (data.ranges[:, None] == data.ranges[None, :]).astype(np.float64)
    common, along = 0.5 * data.range_var * same_range, walk * np.outer(passes, passes)
    covariance = np.empty((len(uneven), *common.shape))
    for row, (sigma, wander) in enumerate(uneven):
        own = data.noise_db**2 + (sigma * passes) ** 2 + (SAG_DB * (1 - passes)) ** 2
        covariance[row] = np.diag(own / data.weights) + common + wander**2 * along
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))


def _walk(s: Floats, x: float) -> Floats:
    """Return the covariance of a sum of uneven steps away from a place, per unit of a step's variance."""
    away = s - x
    same = np.sign(away)[:, None] == np.sign(away)[None, :]
    return np.asarray(np.minimum(np.abs(away)[:, None], np.abs(away)[None, :]) * same)


def outlier_weights(grid: Posterior, data: Readings) -> Floats:
    """Return the weight of each reading by its distance from the prediction of all the others."""
    best = int(np.argmax(grid.weights))
    shape, sigma, _ = grid.kinds[best * len(grid.kinds) // len(grid.weights)]
    drive = grid.per_step[best] * (data.s - grid.onset[best]) + shape.drive_at(data.limit_thd)
    residual = data.y - shape.shown(drive)
    passes = np.clip(shape.slope(drive), 0, 1)
    uneven = (max(sigma, 0.5 * UNEVEN_DB[1]) * passes) ** 2
    covariance = np.diag(data.noise_db**2 + uneven + (SAG_DB * (1 - passes)) ** 2)
    covariance += 0.5 * data.range_var * (data.ranges[:, None] == data.ranges[None, :])
    inverse = np.linalg.inv(covariance)
    ones = inverse.sum(axis=1)
    free = inverse - np.outer(ones, ones) / ones.sum()
    left_out = (free @ residual) / np.sqrt(np.diag(free))
    weights: Floats = np.divide(FREEDOM + 1, FREEDOM + np.square(left_out))
    return weights
