"""The posterior behind the knee, over onset, ceiling, taper and unevenness; what is linear is integrated out."""

from __future__ import annotations

import dataclasses
import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.metering import control_tapers
from gainwright.metering.compression_curves import BENDS, SHAPES, SHARPNESSES, STRAIGHTS, CurveTable
from gainwright.metering.control_tapers import Taper, Tapers
from gainwright.metering.knee_fits import (
    ABOUT_DB,
    LEAST_DB,
    MIDDLE_NOISE,
    MOST_DB,
    NOISE_KINDS,
    ROUNDS,
    CurveFits,
    Grid,
    Readings,
    cholesky_factors,
    fit,
    moved_fits,
    rising,
    whitening,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.metering.compression_curves import CeilingShape

    Floats = npt.NDArray[np.float64]

FREE_DB = 0.3
"""A step's standard deviation when nothing is assumed of a taper."""
FREEDOM = 4.0
"""Degrees of freedom of the t distribution used to weight readings."""
OUTLIER_WEIGHT = 0.15
"""Weight below which a reading is rejected."""
UNLIKELY = 1e-3
EVERY = 10
COARSE = (
    *range(0, len(SHARPNESSES), EVERY),
    *(len(SHARPNESSES) + i * len(STRAIGHTS) + len(STRAIGHTS) // 3 for i in range(len(BENDS))),
)
"""The search begins with these of the ceilings."""
MOST_TAPERS = 8
"""Tapers for which the ceilings between the coarse ones are fitted."""
MANY = 25
"""Likely models from which on fewer of the ceilings between them are fitted: the readings don't tell them apart."""
KEPT, RARE = 0.997, 0.02
"""The share of all models' weight in the posterior; the weight, of the largest, at which a kind of unevenness is left out."""
ROUGH_DB = 0.25
"""Standard deviation of a reading about the line through its neighbours, for a first look."""
ONSETS, MORE_ONSETS, WIDE_STEPS = 15, 61, 4.0
"""Onsets of each model in the posterior; the larger number where they spread over `WIDE_STEPS` steps."""
NEGLIGIBLE = 1e-7
WIDENED = (16.0, 4.0, 1.0)
"""An outlier pulls a narrow fit towards itself: the search starts with wide noise, weights, and narrows it down."""


@dataclass(frozen=True, slots=True)
class Posterior:
    """Points with their weights; every array has shape (points,), `parameters` (points, 4).

    Attributes
    ----------
    onset, per_step, centre : the onset, the rise of the step there, the level of the ceiling; the last two with a variance.
    cell : steps between this point and the next of its kind.
    parameters : the level and the taper's parameters.
    curve, taper : indexes into the curves and tapers.
    """

    weights: Floats
    onset: Floats
    cell: Floats
    per_step: Floats
    per_step_var: Floats
    centre: Floats
    centre_var: Floats
    parameters: Floats
    curve: npt.NDArray[np.intp]
    taper: npt.NDArray[np.intp]
    curves: CurveTable
    tapers: Tapers


def fastest_rise(s: Floats, y: Floats) -> float:
    """Return the upper quartile of the rises per step of a column, dB."""
    apart = np.diff(s)
    rises = np.diff(y)[apart > 0] / apart[apart > 0]
    return float(np.clip(np.quantile(rises, 0.75), LEAST_DB, MOST_DB)) if len(rises) else 1.0


def search(data: Readings, ceilings: Sequence[CeilingShape]) -> tuple[Posterior, Readings]:
    """Return the posterior, and the readings with their weights.

    A wide, coarse grid under wide noise comes first; then narrower ones where the weight is.
    """
    s, fastest = np.unique(data.s), data.fastest
    x = np.linspace(s[0] - 3 / fastest, s[-1] + 20 / fastest, 28)
    data = dataclasses.replace(data, weights=_first_weights(data))
    kinds = [*control_tapers.without_change(), *control_tapers.one_change(s, every=max(1, len(s) // 6))]
    coarse = [ceiling.curve() for i, ceiling in enumerate(ceilings) if i % len(SHAPES) in COARSE]
    for wider in WIDENED:
        wide = dataclasses.replace(data, noise_db=data.noise_db * wider)
        rounds = ROUNDS if wider == 1 else ROUNDS - 1
        models = fit(wide, coarse[::2] if wider > 1 else coarse, kinds, x, rounds)
        held = models.likely(1e-6)
        low, high = models.x[held] - 5 * models.within[held], models.x[held] + 5 * models.within[held]
        x = np.linspace(max(x[0], np.min(low) - 0.2), min(x[-1], np.max(high) + 0.2), 14)
        if wider > 1:  # a coarse ceiling doesn't fit well enough to judge readings by narrow noise
            data = dataclasses.replace(data, weights=outlier_weights(models, wide))
            kinds = _closer(models, data)
    # between coarse ceilings the onset may lie elsewhere
    x = np.linspace(x[0] - ABOUT_DB / fastest, x[-1] + ABOUT_DB / fastest, 2)
    models = _finer(data, models, ceilings, x)
    data = dataclasses.replace(data, weights=outlier_weights(models, data))
    models = _again(data, models, x)
    return _posterior(data, models, x[0], x[-1]), data


def _again(data: Readings, models: CurveFits, x: Floats) -> CurveFits:
    """Return the likely models fitted to readings whose weights have changed."""
    held = models.likely(UNLIKELY)
    curve, taper = models.curve[held], models.taper[held]
    return moved_fits(data, models.table, models.tapers, curve, taper, models.x[held], models.theta[held], x, ROUNDS)


def _closer(models: CurveFits, data: Readings) -> list[Taper]:
    """Return tapers near the likeliest ones, and those with one or two changes at places where the readings bend."""
    kinds, share = models.tapers.kinds, models.of_tapers()
    best = [kinds[i].changes for i in np.argsort(-share)]
    places = [kind.changes[0] for kind in control_tapers.one_change(data.s)]
    columns = [data.lower_db == lower for lower in np.unique(data.lower_db)]
    bent = {p for here in columns for p in control_tapers.bends(data.s[here], data.y[here], most=5)} & set(places)
    ones = [changes[0] for changes in best if len(changes) == 1]
    singles = {p for one in ones[:2] for p in _about(one, places, 2)} | bent
    pairs = {kind.changes for kind in control_tapers.two_changes([*bent, *ones[:1]], data.s)}
    for first, second in [changes for changes in best if len(changes) == 2][:1]:
        close = [(a, b) for a in _about(first, places, 1) for b in _about(second, places, 1)]
        pairs |= {kind.changes for pair in close for kind in control_tapers.two_changes(pair, data.s)}
    return [*control_tapers.without_change(), *(Taper((p,)) for p in sorted(singles)), *map(Taper, sorted(pairs))]


def _about(place: float, places: Sequence[float], far: int) -> Sequence[float]:
    at = places.index(place)
    return places[max(0, at - far) : at + far + 1]


def _finer(data: Readings, models: CurveFits, ceilings: Sequence[CeilingShape], x: Floats) -> CurveFits:
    """Return fits of the ceilings between the coarse ones: every fifth for the likely tapers, then those about the likely ones."""
    share = models.of_tapers()
    tapers = [int(t) for t in np.argsort(-share)[:MOST_TAPERS] if share[t] > UNLIKELY * np.max(share)]
    every_fifth = [(place, taper) for place in range(0, len(ceilings), EVERY // 2) for taper in tapers]
    models = _refitted(data, models, ceilings, every_fifth, x)
    place_of = {ceiling: place for place, ceiling in enumerate(ceilings)}
    likely = models.likely(UNLIKELY)
    every = 1 + len(likely) // MANY
    pairs: dict[tuple[int, int], None] = {}
    for i in likely:
        at = place_of[models.table.curves[models.curve[i]].shape]
        for place in range(max(0, at - EVERY // 2 + 1), min(len(ceilings), at + EVERY // 2)):
            if (place - at) % every == 0 and ceilings[place].kind == ceilings[at].kind:
                pairs[place, int(models.taper[i])] = None
    return _refitted(data, models, ceilings, list(pairs), x)


def _refitted(
    data: Readings, models: CurveFits, ceilings: Sequence[CeilingShape], pairs: Sequence[tuple[int, int]], x: Floats
) -> CurveFits:
    """Return fits of pairs of a ceiling and a taper, each begun where the nearest ceiling of its kind was."""
    place_of = {ceiling: place for place, ceiling in enumerate(ceilings)}
    number = {kind: i for i, kind in enumerate(dict.fromkeys(ceiling.kind for ceiling in ceilings))}
    places = np.array([place_of[curve.shape] for curve in models.table.curves])[models.curve]
    kinds = np.array([number[ceilings[place].kind] for place in places])
    wanted, tapers = np.array(pairs).T
    away = np.abs(places - wanted[:, None])
    away += 1000 * (kinds != np.array([number[ceilings[place].kind] for place in wanted])[:, None])
    away += 1_000_000 * (models.taper != tapers[:, None])
    start = np.argmin(away, axis=1)
    used, of_pair = np.unique(wanted, return_inverse=True)
    table = CurveTable.of([ceilings[place].curve() for place in used], data.limit_thd)
    return moved_fits(data, table, models.tapers, of_pair, tapers, models.x[start], models.theta[start], x)


def _first_weights(data: Readings) -> Floats:
    """Return weights by the distance of each reading from the lines through its neighbours."""
    weights = np.ones(len(data.s))
    for lower in np.unique(data.lower_db):
        here = np.flatnonzero(data.lower_db == lower)
        s, y = data.s[here], data.y[here]
        for i, place in enumerate(here):
            near = [j for j in range(i - 3, i + 4) if 0 <= j < len(s) and j != i]
            lines = [
                y[a] + (y[b] - y[a]) * (s[i] - s[a]) / (s[b] - s[a])
                for a, b in itertools.combinations(near, 2)
                if s[b] > s[a]
            ]
            if lines:
                weights[place] = (FREEDOM + 1) / (FREEDOM + ((y[i] - float(np.median(lines))) / ROUGH_DB) ** 2)
    return weights


def _likely_noises(data: Readings, models: CurveFits) -> list[tuple[float, float]]:
    """Return the kinds of unevenness that matter, by the likeliest models at their best."""
    top = np.argsort(-models.log)[:4]
    x, curve, taper = models.x[top], models.curve[top][:, None], models.taper[top][:, None]
    grid, theta = Grid.of(data, models.table, models.tapers, x[:, None], curve, taper), models.theta[top][:, None]
    residual, slope, over = grid.fitted(theta)
    lowers = whitening(data, slope[:, :, 0], over[:, :, 0], x, NOISE_KINDS)
    logs = np.empty(len(NOISE_KINDS))
    for k in range(len(NOISE_KINDS)):
        step = grid.solve(lowers[:, k], theta, residual, slope)
        constant = np.sum(np.log(np.diagonal(lowers[:, k], axis1=1, axis2=2)), axis=1)
        logs[k] = np.max(constant - 0.5 * (step.after + np.linalg.slogdet(step.normal)[1])[:, 0])
    return [noise for noise, log in zip(NOISE_KINDS, logs, strict=True) if log > np.max(logs) + math.log(RARE)]


def _posterior(data: Readings, models: CurveFits, lowest: float, highest: float) -> Posterior:
    """Return the posterior: each likely model on onsets about its best, under every likely kind of unevenness."""
    kept = models.most(KEPT)
    noises = _likely_noises(data, models)
    width = 4 * models.within[kept]
    ends = np.maximum(models.x[kept] - width, lowest), np.minimum(models.x[kept] + width, highest)
    count = ONSETS if np.max(ends[1] - ends[0]) < WIDE_STEPS else MORE_ONSETS
    x = ends[0][:, None] + (ends[1] - ends[0])[:, None] * np.linspace(0, 1, count)
    grid = Grid.of(data, models.table, models.tapers, x, models.curve[kept][:, None], models.taper[kept][:, None])
    theta = np.repeat(models.theta[kept][:, None], count, axis=1)
    # begin with the same level at the readings below
    moved = grid.tapers.level(grid.taper, x) - grid.tapers.level(grid.taper[:, :1], models.x[kept][:, None])
    theta[..., 0] += np.einsum("abk,abk->ab", moved, theta[..., 1:])
    rows, middle = np.arange(len(kept)), np.argmin(np.abs(x - models.x[kept][:, None]), axis=1)
    for _ in range(ROUNDS):
        residual, slope, over = grid.fitted(theta)
        at = slope[rows, :, middle], over[rows, :, middle], models.x[kept]
        step = grid.solve(whitening(data, *at, [MIDDLE_NOISE])[:, 0], theta, residual, slope)
        theta = rising(theta + step.change)
    residual, slope, over = grid.fitted(theta)
    last = grid.solve(whitening(data, *at, [MIDDLE_NOISE])[:, 0], theta, residual, slope)
    unfinished = 0.5 * (last.before - last.after)
    lowers = whitening(data, *at, noises)
    cell = (ends[1] - ends[0]) / (count - 1)
    rise = grid.rises()
    logs, columns = [], []
    for k in range(len(noises)):
        lower = lowers[:, k]
        step = grid.solve(lower, theta, residual, slope)
        moved = rising(theta + step.change)
        constant = np.sum(np.log(np.diagonal(lower, axis1=1, axis2=2)), axis=1)
        log = constant[:, None] - 0.5 * step.after - 0.5 * np.linalg.slogdet(step.normal)[1] + grid.log_prior(moved)
        logs.append(log + np.log(cell)[:, None] - unfinished)
        variance = np.einsum("abi,abij,abj->ab", rise, step.inverse[..., 1:, 1:], rise)
        of_each = np.stack([grid.rise(moved), variance, step.inverse[..., 0, 0]], axis=-1)
        columns.append(np.concatenate([of_each, moved], axis=-1))
    log = np.stack(logs)
    share = np.exp(log - np.max(log))
    _, model, place = held = np.nonzero(share > NEGLIGIBLE)
    values = np.stack(columns)[held]
    return Posterior(
        share[held] / np.sum(share[held]),
        x[model, place],
        cell[model],
        values[:, 0],
        values[:, 1],
        values[:, 3],
        values[:, 2],
        values[:, 3:],
        models.curve[kept][model],
        models.taper[kept][model],
        models.table,
        models.tapers,
    )


def within_with(posterior: Posterior, data: Readings, steps: Floats, lower_db: float) -> float:
    """Return the onset's standard deviation to be expected of the likeliest model with the tone lower at some steps as well."""
    more = len(steps)
    usual = float(np.median(data.noise_db))
    both = dataclasses.replace(
        data,
        s=np.concatenate([data.s, steps]),
        y=np.concatenate([data.y, np.zeros(more)]),
        lower_db=np.concatenate([data.lower_db, np.full(more, lower_db)]),
        noise_db=np.concatenate([data.noise_db, np.full(more, usual)]),
        ranges=np.concatenate([data.ranges, np.full(more, -1)]),
        weights=np.concatenate([data.weights, np.ones(more)]),
    )
    best = int(np.argmax(posterior.weights / posterior.cell))
    x = posterior.onset[best : best + 1]
    grid = Grid.of(both, posterior.curves, posterior.tapers, x[:, None], posterior.curve[best], posterior.taper[best])
    theta = posterior.parameters[best].reshape(1, 1, 4)
    _, slope, over = grid.fitted(theta)
    # as if nothing were known of the taper: each step's size by itself
    factor = cholesky_factors(both, slope[:, :, 0], over[:, :, 0], x, [(MIDDLE_NOISE[0], FREE_DB)])[:, 0]
    step = grid.solve_moving(factor, theta, np.zeros(slope.shape), slope)
    return float(np.sqrt(step.inverse[0, 0, 4, 4]))


def outlier_weights(models: CurveFits, data: Readings) -> Floats:
    """Return the weight of each reading by its distance from the prediction of all the others."""
    best = int(np.argmax(models.log))
    x = models.x[best : best + 1]
    grid = Grid.of(data, models.table, models.tapers, x[:, None], models.curve[best], models.taper[best])
    residual, slope, over = (values[0, :, 0] for values in grid.fitted(models.theta[best].reshape(1, 1, 4)))
    lower = whitening(data, slope[None], over[None], x, [(MIDDLE_NOISE[0], 0.0)])[0, 0]
    inverse = lower.T @ lower
    jacobian = np.concatenate([np.ones((len(data.s), 1)), grid.part[0, :, 0] * slope[:, None]], axis=1)
    information = jacobian.T @ inverse @ jacobian + np.diag(grid.precision[0, 0] + 1e-9)
    free = inverse - inverse @ jacobian @ np.linalg.solve(information, jacobian.T @ inverse)
    alone = np.maximum(np.diag(free), 1e-12)
    # the others count with their weights, and each one's own distance with the noise of a good reading
    variance = 1 / alone + data.noise_db**2 * (1 - 1 / data.weights)
    left_out = (free @ residual) / alone / np.sqrt(np.maximum(variance, data.noise_db**2))
    weights: Floats = np.divide(FREEDOM + 1, FREEDOM + np.square(left_out))
    # a rejected reading must not make a taper with more changes look better
    return np.where(weights < OUTLIER_WEIGHT, weights**3 / OUTLIER_WEIGHT**2, weights)
