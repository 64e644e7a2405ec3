"""Fits of a ceiling and a taper to readings, on a grid of onsets or with the onset fitted too.

For each point the level and the taper's parameters are fitted (Gauss-Newton) and integrated by the normal approximation
about the fit (Laplace; MacKay, Information Theory, Inference, and Learning Algorithms, chapter 27).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.metering.compression_curves import CurveTable
from gainwright.metering.control_tapers import Taper, Tapers, tapers_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.metering.compression_curves import CompressionCurve

    Floats = npt.NDArray[np.float64]

UNEVEN_DB = (0.0, 0.05, 0.15)
"""Standard deviations of single steps, of equal prior weight."""
WANDER_DB = (0.0, 0.03, 0.1)
"""Standard deviations of a step's size, adding up along the travel."""
NOISE_KINDS = tuple(itertools.product(UNEVEN_DB, WANDER_DB))
MIDDLE_NOISE = (UNEVEN_DB[1], WANDER_DB[1])
FLAT_DB = 0.01
"""Standard deviation of readings past a ceiling (common practice, no published source)."""
SAG_DB, SAG_OVER_DB = 0.1, 6.0
"""How far a ceiling drops, dB, when it is driven that many dB beyond it (common practice, no published source)."""
ROUNDS = 3
"""Steps of the fit."""
DB_PER_RATIO = 20 / math.log(10)
LEAST_DB, MOST_DB = 0.05, 12.0
"""A step's size, dB."""
BEYOND_DB = 10.0
"""How far beyond the last reading an onset is as likely as below it."""
ABOUT_DB = 2.0
"""How far an onset may move in one step of the fit, and when the ceiling is known better."""
LEVEL_DB = 40.0
"""Standard deviation of a ceiling about the largest reading before anything is known."""
TINY = 1e-9
FALLS = -1000.0
"""Logarithm of the weight of a taper whose level falls somewhere."""


@dataclass(frozen=True, slots=True)
class Readings:
    """The readings as used by the posterior, shape (readings,) each.

    Attributes
    ----------
    s, y : steps, and dB re 1 V.
    lower_db : by how much the tone was lower than in the column that is asked about.
    noise_db, ranges, weights : each one's own standard deviation, range of the meter, and weight.
    range_var : variance of the gain error of a range, dB squared.
    fastest : the usual rise per step, dB.
    """

    s: Floats
    y: Floats
    lower_db: Floats
    noise_db: Floats
    ranges: npt.NDArray[np.intp]
    range_var: float
    weights: Floats
    limit_thd: float
    fastest: float


@dataclass(frozen=True, slots=True)
class CurveFits:
    """Pairs of a ceiling and a taper, each with its likeliest onset and parameters; arrays of shape (pairs,).

    Attributes
    ----------
    within : standard deviation of the onset, steps.
    log : of the weight of each.
    theta : parameters, shape (pairs, 4).
    """

    table: CurveTable
    tapers: Tapers
    curve: npt.NDArray[np.intp]
    taper: npt.NDArray[np.intp]
    x: Floats
    within: Floats
    log: Floats
    theta: Floats

    def likely(self, share: float) -> npt.NDArray[np.intp]:
        """Return those with at least such a share of the largest weight."""
        return np.flatnonzero(self.log > np.max(self.log) + math.log(share))

    def most(self, share: float) -> npt.NDArray[np.intp]:
        """Return the likeliest ones that have such a share of all weight."""
        order = np.argsort(-self.log)
        weight = np.cumsum(np.exp(self.log[order] - self.log[order[0]]))
        return order[: int(np.searchsorted(weight, share * weight[-1])) + 1]

    def of_tapers(self) -> Floats:
        """Return the weight of each taper."""
        return np.asarray(
            np.bincount(self.taper, weights=np.exp(self.log - np.max(self.log)), minlength=len(self.tapers.kinds)),
            dtype=np.float64,
        )


@dataclass(frozen=True, slots=True)
class Grid:
    """Fits at some onsets, ceilings and tapers, arrays of shape (a, b): one covariance of the readings for each of `a`.

    Attributes
    ----------
    part : level of the taper's parts from the onset on, shape (a, readings, b, 3), dB per unit of each parameter.
    """

    data: Readings
    table: CurveTable
    tapers: Tapers
    x: Floats
    curve: npt.NDArray[np.intp]
    taper: npt.NDArray[np.intp]
    part: Floats

    @classmethod
    def of(cls, data: Readings, table: CurveTable, tapers: Tapers, x: Floats, curve: Any, taper: Any) -> Grid:
        """Return the grid of onsets, and indexes into the ceilings and tapers, that are broadcast to one shape."""
        x, curve, taper = np.broadcast_arrays(x, curve, taper)
        at_readings = tapers.level(taper[:, None, :], data.s[None, :, None])
        return cls(data, table, tapers, x, curve, taper, at_readings - tapers.level(taper, x)[:, None])

    @property
    def precision(self) -> Floats:
        """Precision of the prior of the level and the parameters, shape (a, b, 4): hardly any of the level."""
        return np.concatenate([np.full((*self.x.shape, 1), LEVEL_DB**-2.0), self.tapers.precision[self.taper]], axis=-1)

    def started(self) -> Floats:
        """Return parameters, shape (a, b, 4): of the readings below the onset, or near the usual step where there are few."""
        data = self.data
        below = (data.s[None, :, None] <= self.x[:, None]) | (data.lower_db > 0)[:, None]
        weight = np.where(below, (data.weights / (data.noise_db**2 + 0.01))[:, None], 1e-6)
        columns = (
            np.concatenate(
                [
                    np.ones((*self.part.shape[:3], 1)),
                    self.part,
                    np.broadcast_to((data.y + data.lower_db)[:, None, None], (*self.part.shape[:3], 1)),
                ],
                axis=-1,
            )
            * np.sqrt(weight)[..., None]
        )
        products = _products(columns)
        usual = np.array([np.max(data.y), data.fastest, 0.0, 0.0])
        theta = _solved(products, self.precision, -self.precision * usual).change
        theta[..., 0] -= self.table.drive_at[self.curve]
        return rising(theta)

    def fitted(self, theta: Floats) -> tuple[Floats, Floats, Floats]:
        """Return residuals, slopes and drives over the limit, shape (a, readings, b) each."""
        over = np.einsum("anbk,abk->anb", self.part, theta[..., 1:]) - self.data.lower_db[:, None]
        shown, slope = self.table.shown(over + self.table.drive_at[self.curve][:, None], self.curve[:, None])
        return self.data.y[:, None] - theta[:, None, :, 0] - shown, slope, over

    def solve(self, lower: Floats, theta: Floats, residual: Floats, slope: Floats) -> FitStep:
        """Return the next step of the fits; `lower` is the inverse Cholesky factor of the covariance, as `whitening` gives it."""
        stacked = self._stacked(theta, residual, slope, 5)
        white = (lower @ stacked.reshape(*slope.shape[:2], -1)).reshape(stacked.shape)
        return self._step(white, theta)

    def solve_moving(self, factor: Floats, theta: Floats, residual: Floats, slope: Floats) -> FitStep:
        """Return the next step of fits of one model each (b = 1), with the onset as a fifth parameter.

        `factor` is the Cholesky factor of the readings' covariance, shape (a, readings, readings).
        """
        stacked = self._stacked(theta, residual, slope, 6)
        return self._step(_forward(factor, stacked[:, :, 0])[:, :, None], theta)

    def _stacked(self, theta: Floats, residual: Floats, slope: Floats, count: int) -> Floats:
        """Return the derivatives of the readings, by the onset too where there is room, and the residuals, as a last axis."""
        stacked = np.empty((*slope.shape, count))
        stacked[..., 0] = 1.0
        np.multiply(self.part, slope[..., None], out=stacked[..., 1:4])
        if count > 5:
            stacked[..., 4] = -slope * self.rise(theta)[:, None]
        stacked[..., -1] = residual
        return stacked

    def _step(self, white: Floats, theta: Floats) -> FitStep:
        count = white.shape[-1] - 1
        precision = np.zeros((*self.x.shape, count))
        precision[..., :4] = self.precision
        apart = np.zeros((*self.x.shape, count))
        apart[..., :4] = theta - np.array([np.max(self.data.y), self.data.fastest, 0.0, 0.0])
        if count > 4:
            precision[..., 4] = 1e-4 * self.data.fastest**2
        return _solved(_products(white), precision, precision * apart, np.sum(precision * apart**2, axis=-1))

    def rise(self, theta: Floats) -> Floats:
        """Return the rise per step at the onset, or at the end of the readings that is nearest, shape (a, b)."""
        return np.asarray(np.einsum("abk,abk->ab", self.rises(), theta[..., 1:]))

    def rises(self) -> Floats:
        """Return the rise per step of each parameter's part there, shape (a, b, 3)."""
        return self.tapers.rise(self.taper, np.clip(self.x, np.min(self.data.s), np.max(self.data.s)))

    def log_prior(self, theta: Floats) -> Floats:
        """Return the logarithm of the prior of the onset, the ceiling, the taper and its steps, shape (a, b)."""
        s = np.unique(self.data.s)
        slowest = np.min(
            np.einsum("abnk,abk->abn", self.tapers.rise(self.taper[..., None], s), theta[..., 1:]), axis=-1
        )
        log = self.tapers.log_prior[self.taper] + self.table.log_prior[self.curve]
        log = log + np.where(slowest < 0.4 * LEAST_DB, FALLS, 0.0)
        log -= np.log(np.maximum(self.rise(theta), 0.4 * LEAST_DB))
        beyond = np.maximum(self.x - np.max(self.data.s[self.data.lower_db == 0]), 0)
        return np.asarray(log - beyond * self.data.fastest / BEYOND_DB)

    def near(self, residual: Floats) -> npt.NDArray[np.intp]:
        """Return the best of `b` for each of `a`, by readings alone."""
        weight = self.data.weights / (self.data.noise_db**2 + MIDDLE_NOISE[0] ** 2)
        return np.asarray(np.argmin(np.einsum("n,anb->ab", weight, residual**2), axis=1))


@dataclass(frozen=True, slots=True)
class FitStep:
    """The change of the parameters, the squares before and after it if all is linear, the normal matrix and its inverse."""

    change: Floats
    before: Floats
    after: Floats
    normal: Floats
    inverse: Floats


def _products(columns: Floats) -> Floats:
    """Return the products of columns (a, readings, b, k) over the readings, shape (a, b, k, k)."""
    count = columns.shape[-1]
    products = np.empty((columns.shape[0], columns.shape[2], count, count))
    for i, j in itertools.combinations_with_replacement(range(count), 2):
        products[..., i, j] = products[..., j, i] = np.einsum("anb,anb->ab", columns[..., i], columns[..., j])
    return products


def _solved(products: Floats, precision: Floats, pull: Floats, square: Any = 0.0) -> FitStep:
    count = precision.shape[-1]
    normal = products[..., :count, :count].copy()
    normal[..., range(count), range(count)] += precision + TINY
    right = products[..., :count, count] - pull
    inverse = np.linalg.inv(normal)
    step = np.einsum("abij,abj->abi", inverse, right)
    before = products[..., count, count] + square
    after = before - np.sum(step * right, axis=-1)
    return FitStep(step, before, after, normal, np.asarray(inverse, dtype=np.float64))


def rising(theta: Floats) -> Floats:
    """Return parameters whose first step rises; changes them in place."""
    theta[..., 1] = np.maximum(theta[..., 1], 0.4 * LEAST_DB)
    return theta


def fit(
    data: Readings, curves: Sequence[CompressionCurve], kinds: Sequence[Taper], x: Floats, rounds: int
) -> CurveFits:
    """Return each pair of a ceiling and a taper at its likeliest onset: the best of a grid, then fitted with the rest."""
    table, tapers = CurveTable.of(curves, data.limit_thd), tapers_of(kinds, data.s, data.fastest)
    curve, taper = np.repeat(np.arange(len(curves)), len(kinds)), np.tile(np.arange(len(kinds)), len(curves))
    grid = Grid.of(data, table, tapers, x[:, None], curve[None], taper[None])
    theta, rows, pairs = grid.started(), np.arange(len(x)), np.arange(len(curve))
    for _ in range(rounds):
        residual, slope, over = grid.fitted(theta)
        best = grid.near(residual)
        lower = whitening(data, slope[rows, :, best], over[rows, :, best], x, [MIDDLE_NOISE])[:, 0]
        step = grid.solve(lower, theta, residual, slope)
        theta = rising(theta + step.change)
    constant = np.sum(np.log(np.diagonal(lower, axis1=1, axis2=2)), axis=1)
    log = constant[:, None] - 0.5 * step.before + grid.log_prior(theta)
    at = np.argmax(log, axis=0)
    return moved_fits(data, table, tapers, curve, taper, x[at], theta[at, pairs], x, rounds)


def moved_fits(
    data: Readings,
    table: CurveTable,
    tapers: Tapers,
    curve: npt.NDArray[np.intp],
    taper: npt.NDArray[np.intp],
    x: Floats,
    theta: Floats,
    within: Floats,
    rounds: int = ROUNDS + 2,
) -> CurveFits:
    """Return the models fitted from some onsets and parameters, the onsets within a range."""
    most = ABOUT_DB / data.fastest
    theta = theta[:, None]
    found = CurveFits(table, tapers, curve, taper, x, x, np.full(len(x), -np.inf), theta[:, 0])
    for _ in range(rounds):
        grid = Grid.of(data, table, tapers, x[:, None], curve[:, None], taper[:, None])
        residual, slope, over = grid.fitted(theta)
        factor = cholesky_factors(data, slope[:, :, 0], over[:, :, 0], x, [MIDDLE_NOISE])[:, 0]
        step = grid.solve_moving(factor, theta, residual, slope)
        constant = -np.sum(np.log(np.diagonal(factor, axis1=1, axis2=2)), axis=1)
        log = (grid.log_prior(theta) - 0.5 * step.before - 0.5 * np.linalg.slogdet(step.normal)[1])[:, 0] + constant
        better = log > found.log
        found = CurveFits(
            table,
            tapers,
            curve,
            taper,
            np.where(better, x, found.x),
            np.where(better, np.sqrt(step.inverse[:, 0, 4, 4]), found.within),
            np.where(better, log, found.log),
            np.where(better[:, None], theta[:, 0], found.theta),
        )
        theta = rising(theta + step.change[..., :4])
        x = np.clip(x + np.clip(step.change[:, 0, 4], -most, most), within[0], within[-1])
    return found


def whitening(
    data: Readings, passes: Floats, over_db: Floats, x: Floats, noises: Sequence[tuple[float, float]]
) -> Floats:
    """Return the inverses of the `cholesky_factors`, shape (a, noises, readings, readings)."""
    return _inverse_of_lower(cholesky_factors(data, passes, over_db, x, noises))


def cholesky_factors(
    data: Readings, passes: Floats, over_db: Floats, x: Floats, noises: Sequence[tuple[float, float]]
) -> Floats:
    """Return the lower Cholesky factor of the readings' covariance, shape (a, noises, readings, readings).

    `passes` and `over_db` are how much of a step each reading shows, and the drive over the limit, shape (a, readings); `x`
    the onsets, shape (a,).
    """
    passes = np.clip(passes, 0, 1)
    same_range = (data.ranges[:, None] == data.ranges[None, :]).astype(np.float64)
    same_step = (data.s[:, None] == data.s[None, :]).astype(np.float64)
    sag = SAG_DB * np.clip(over_db / SAG_OVER_DB, 0, 1)
    along = _walk(data.s, x)
    uneven, wander = (np.array([n[i] for n in noises])[:, None, None] ** 2 for i in (0, 1))
    found = along[:, None] * wander
    found += uneven * same_step
    found *= passes[:, None, :, None]
    found *= passes[:, None, None, :]
    common = sag[:, :, None] * sag[:, None, :]
    common += 0.5 * data.range_var * same_range
    common[:, range(len(data.s)), range(len(data.s))] += data.noise_db**2 / data.weights + (FLAT_DB * (1 - passes)) ** 2
    found += common[:, None]
    return np.asarray(np.linalg.cholesky(found), dtype=np.float64)


def _forward(factors: Floats, columns: Floats) -> Floats:
    """Return lower triangular matrices' inverses times columns, shape (a, n, k), by forward substitution for all at once."""
    found = np.empty(columns.shape)
    for row in range(factors.shape[-1]):
        before = factors[:, row, None, :row] @ found[:, :row]
        found[:, row] = (columns[:, row] - before[:, 0]) / factors[:, row, row, None]
    return found


def _inverse_of_lower(factors: Floats) -> Floats:
    """Return the inverses of lower triangular matrices, row by row for all at once."""
    inverse = np.zeros_like(factors)
    for row in range(factors.shape[-1]):
        before = factors[..., row, None, :row] @ inverse[..., :row, :row]
        inverse[..., row, :row] = before[..., 0, :] / -factors[..., row, row, None]
        inverse[..., row, row] = 1 / factors[..., row, row]
    return inverse


def _walk(s: Floats, x: Floats) -> Floats:
    """Return the covariance of a sum of uneven steps away from each place, per unit of a step's variance."""
    above, below = np.maximum(s - x[:, None], 0), np.maximum(x[:, None] - s, 0)
    found = np.minimum(above[:, :, None], above[:, None, :])
    found += np.minimum(below[:, :, None], below[:, None, :])
    return np.asarray(found)
