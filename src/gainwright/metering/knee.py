"""Where clipping began, from readings of a meter step by step.

Model. The level rises by d dB a step; what the meter shows of it follows a `Bend` from the step x at which a hard ceiling
would just be touched: y_i = c + bend(d (s_i - x)). Around it lie: the meter's repeatability and last digit; a gain error
of its own for each of its ranges, inside its accuracy; single steps that are uneven, and steps whose unevenness adds up.
c and the ranges' errors are linear and Gaussian and are integrated out; x, d, the shape of the bend and the unevenness
lie on a grid, so that every figure is a statistic of one posterior (JCGM 101:2008 without its Monte Carlo). A reading far
off the rest (a mistyped one) is weighed down by a t distribution's weights and named.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from gainwright.errors import ReadingError
from gainwright.metering.bends import SHARPNESSES, Bend, bend
from gainwright.physics import clipped_sine_rms, drive_for_thd

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

LEAST_READINGS = 4
REPEATS_DB = 0.013
"""Standard deviation of one reading beside its last digit: 0.15 % (common practice, no published source)."""
UNEVEN_DB = (0.0, 0.05, 0.15)
"""Standard deviations of single steps, of equal prior weight."""
WANDER_DB = (0.0, 0.03, 0.1)
"""Standard deviations of a step's size, adding up along the travel."""
FREEDOM = 4.0
"""Degrees of freedom of the t distribution by which readings are weighed."""
OUTLIER_WEIGHT = 0.15
SHOWN = 0.95
"""How sure a knee must be to be claimed."""
SURE_ENOUGH = 0.9
"""How sure the last clean step must be for another reading not to be worth its while."""
ABOVE_DB = 3.0
"""How far over the onset readings still tell something of it."""
DRAWS = 8192
COARSE, FINE = 32, 48
"""Points of x and of d in the passes over the grid."""
EVERY = 4
"""The first passes look at every fourth shape."""
UNLIKELY = 1e-4
FLATTENED = (300.0, 30.0, 5.0)
REWEIGHED = 3
DB_PER_RATIO = 20 / math.log(10)
LEAST_DB, MOST_DB = 0.05, 12.0
"""A step's size, dB."""

Kind = tuple[Bend, float, float]
"""A shape of ceiling, an unevenness and a wander."""
Advice = Literal["go_on", "measure_between", "enough", "too_few"]


@dataclass(frozen=True, slots=True)
class MeterKind:
    """How the readings were taken: response, accuracy as a share of the reading, counts, the largest number shown."""

    true_rms: bool = True
    accuracy: float = 0.01
    counts: int = 3
    full_counts: int = 6000


@dataclass(frozen=True, slots=True)
class Interval:
    """A figure with its central 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Knee:
    """What a column of readings says. Figures that it doesn't show are None, with the reason in `why_not`.

    Attributes
    ----------
    found : whether the readings show a knee.
    last_clean_step : the highest step measured (or between two measured ones, whole) with THD under the limit.
    confidence : probability that this step is clean and the next is not.
    onset_step : where THD reaches the limit, in steps.
    ceiling_v_rms : rms of the largest clean sine, meter's own error included.
    db_per_step : rise of a step below the knee.
    hard : probability that the ceiling is a hard one.
    outliers : indexes of readings that don't fit the others.
    advice, next_step : what to do next, and at which step.
    """

    found: bool
    last_clean_step: float | None
    confidence: float
    onset_step: Interval | None
    ceiling_v_rms: Interval | None
    db_per_step: Interval | None
    hard: float | None
    outliers: tuple[int, ...]
    advice: Advice
    next_step: float | None
    why_not: str = ""


@dataclass(slots=True)
class _Grid:
    """Posterior over (bend, unevenness, x, d), flattened: weights and what each point says."""

    weights: Floats
    onset: Floats
    per_step: Floats
    centre: Floats
    centre_var: Floats
    sharpness: Floats
    cell: tuple[float, float]
    kinds: Sequence[Kind]

    def shares(self) -> Floats:
        """Return the weight of each kind re the heaviest."""
        each = len(self.weights) // len(self.kinds)
        found = np.add.reduceat(self.weights, np.arange(0, len(self.weights), each))
        return np.asarray(found / np.max(found))


def find_knee(
    steps: Sequence[float], readings_v: Sequence[float], *, meter: MeterKind = MeterKind(), limit_thd: float = 0.01
) -> Knee:
    """Return what readings at steps of one control say of the knee.

    Parameters
    ----------
    steps : places of the control, any distances, volume steps or shares of a travel; higher is louder.
    readings_v : what the meter showed, volts rms.
    limit_thd : ratio up to which a sine is clean.

    Raises
    ------
    ReadingError : lengths that differ, readings that are no positive numbers, one step read twice with another value by
        far, a limit outside 0.01 % to 40 %.
    """
    s, volts = _checked(steps, readings_v, limit_thd)
    whole = bool(np.all(s == np.round(s)))
    if len(s) < LEAST_READINGS:
        return _nothing("too_few", f"{len(s)} readings; {LEAST_READINGS} are needed", next_step=_step_up(s, whole))
    y = 20 * np.log10(volts)
    noise_db, ranges = _noise(volts, meter)
    bends = [bend(p, true_rms=meter.true_rms) for p in SHARPNESSES]
    data = _Data(s, y, noise_db, ranges, (DB_PER_RATIO * meter.accuracy) ** 2 / 3, np.ones(len(s)), limit_thd)
    grid = _posterior(data, bends)
    for _ in range(REWEIGHED):
        weights = _weights(grid, data)
        settled = np.max(np.abs(weights - data.weights)) < 0.02
        data = dataclasses.replace(data, weights=weights)
        grid = _posterior(data, bends)
        if settled:
            break
    outliers = tuple(int(i) for i in np.flatnonzero(data.weights < OUTLIER_WEIGHT))
    return _said(grid, s, whole, outliers, meter, limit_thd)


def _checked(steps: Sequence[float], readings_v: Sequence[float], limit_thd: float) -> tuple[Floats, Floats]:
    s, volts = np.asarray(steps, dtype=np.float64), np.asarray(readings_v, dtype=np.float64)
    if s.shape != volts.shape or s.ndim != 1:
        raise ReadingError(
            f"{s.size} steps and {volts.size} readings", code="bad_readings", remedy="give one reading a step"
        )
    if not 1e-4 <= limit_thd <= 0.4:
        raise ReadingError(f"a limit of {100 * limit_thd:g} % THD", code="bad_option", rule="it is 0.01 to 40 %")
    if not (np.all(np.isfinite(s)) and np.all(np.isfinite(volts)) and np.all(volts > 0)):
        i = int(np.flatnonzero(~(np.isfinite(s) & np.isfinite(volts) & (volts > 0)))[0])
        raise ReadingError(
            f"reading {i + 1} is {volts[i]:g} V at step {s[i]:g}",
            code="bad_readings",
            rule="steps are numbers and readings above zero",
            remedy="leave out steps at which the meter shows nothing",
        )
    order = np.argsort(s, kind="stable")
    return s[order], volts[order]


def _noise(volts: Floats, meter: MeterKind) -> tuple[Floats, npt.NDArray[np.intp]]:
    """Return each reading's own standard deviation in dB, and which range of the meter it was read on."""
    # ranges in decades, the finest digit 0.1 mV
    decade = np.maximum(np.ceil(np.log10(np.maximum(volts, 1e-9) / meter.full_counts)), -4)
    digit = 10.0**decade
    counts = digit * math.sqrt((meter.counts**2) / 3 + 1 / 12)
    return np.hypot(DB_PER_RATIO * counts / volts, REPEATS_DB), (decade - np.min(decade)).astype(np.intp)


@dataclass(frozen=True, slots=True)
class _Data:
    """The readings as the posterior sees them: steps, dB re 1 V, each one's noise, range and weight, range variance."""

    s: Floats
    y: Floats
    noise_db: Floats
    ranges: npt.NDArray[np.intp]
    range_var: float
    weights: Floats
    limit_thd: float


def _posterior(data: _Data, bends: Sequence[Bend]) -> _Grid:
    """Weigh a coarse grid of everything, then a fine one where the weight is."""
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
    """Return a finer grid where the weight is, and two old cells more on either side."""
    share = np.array([np.sum(weights[values == g]) for g in grid])
    held = np.flatnonzero(share > 1e-5 * np.max(share))
    return np.linspace(grid[max(held[0] - 1, 0)], grid[min(held[-1] + 1, len(grid) - 1)], points)


def _weighed(data: _Data, kinds: Sequence[Kind], x: Floats, d: Floats, *, flattened: float = 1.0) -> _Grid:
    """Return the posterior on kinds by x by d, the common level integrated out under a flat prior."""
    s, count, size = data.s, len(data.s), x.size * d.size
    over = (d[None, :, None] * (s - x[:, None, None])).reshape(size, count)
    same_range = (data.ranges[:, None] == data.ranges[None, :]).astype(np.float64)
    residuals: dict[float, Floats] = {}
    logs, centres, variances = [], [], []
    for shape, sigma, wander in kinds:
        if shape.sharpness not in residuals:
            residuals[shape.sharpness] = data.y - shape.shown(over + shape.drive_at(data.limit_thd))
        residual = residuals[shape.sharpness]
        # unevenness passes the bend as far as level does: as it is near the best point of this shape
        middle = residual @ data.weights / np.sum(data.weights)
        best = int(np.argmin((residual - middle[:, None]) ** 2 @ data.weights))
        passes = np.clip(shape.slope(over[best] + shape.drive_at(data.limit_thd)), 0, 1)
        walk = _walk(s, float(x[best // d.size]))
        covariance = np.diag((data.noise_db**2 + (sigma * passes) ** 2) / data.weights)
        covariance += 0.5 * data.range_var * same_range + wander**2 * walk * np.outer(passes, passes)
        lower = np.linalg.inv(np.linalg.cholesky(covariance))
        white, ones = residual @ lower.T, lower.sum(axis=1)
        information = float(ones @ ones)
        centre = white @ ones / information
        square = np.einsum("ij,ij->i", white, white) - information * centre**2
        prior = math.log(len(SHARPNESSES) - 1) if math.isinf(shape.sharpness) else 0.0  # hard or soft, even odds
        logs.append(prior - 0.5 * square + np.sum(np.log(np.diag(lower))) - 0.5 * math.log(information))
        centres.append(centre)
        variances.append(np.full(size, 1 / information))
    onset, per_step = np.repeat(x, d.size), np.tile(d, x.size)
    log = np.concatenate(logs) - np.tile(np.log(per_step), len(kinds))  # d: flat in its logarithm
    share = np.exp((log - np.max(log)) / flattened)
    return _Grid(
        share / np.sum(share),
        np.tile(onset, len(kinds)),
        np.tile(per_step, len(kinds)),
        np.concatenate(centres),
        np.concatenate(variances),
        np.repeat([shape.sharpness for shape, _, _ in kinds], size),
        (float(x[1] - x[0]), float(d[1] - d[0])),
        kinds,
    )


def _walk(s: Floats, x: float) -> Floats:
    """Return the covariance of a sum of uneven steps away from a place, per unit of a step's variance."""
    away = s - x
    same = np.sign(away)[:, None] == np.sign(away)[None, :]
    return np.asarray(np.minimum(np.abs(away)[:, None], np.abs(away)[None, :]) * same)


def _weights(grid: _Grid, data: _Data) -> Floats:
    """Return the weight of each reading by how far it lies from what all the others foretell of it."""
    best = int(np.argmax(grid.weights))
    shape, sigma, _ = grid.kinds[best * len(grid.kinds) // len(grid.weights)]
    drive = grid.per_step[best] * (data.s - grid.onset[best]) + shape.drive_at(data.limit_thd)
    residual = data.y - shape.shown(drive)
    passes = np.clip(shape.slope(drive), 0, 1)
    covariance = np.diag(data.noise_db**2 + (max(sigma, 0.5 * UNEVEN_DB[1]) * passes) ** 2)
    covariance += 0.5 * data.range_var * (data.ranges[:, None] == data.ranges[None, :])
    inverse = np.linalg.inv(covariance)
    ones = inverse.sum(axis=1)
    free = inverse - np.outer(ones, ones) / ones.sum()
    left_out = (free @ residual) / np.sqrt(np.diag(free))
    weights: Floats = np.divide(FREEDOM + 1, FREEDOM + np.square(left_out))
    return weights


# ---- what is said of it ----------------------------------------------------------------------------------------


def _nothing(advice: Advice, why: str, *, next_step: float | None) -> Knee:
    return Knee(False, None, 0.0, None, None, None, None, (), advice, next_step, why)


def _step_up(s: Floats, whole: bool) -> float | None:
    if len(s) == 0:
        return None
    gap = float(np.median(np.diff(s))) if len(s) > 1 else 1.0
    return float(s[-1] + (max(1.0, round(gap)) if whole else gap))


def _interval(values: Floats) -> Interval:
    low, middle, high = np.quantile(values, [0.025, 0.5, 0.975])
    return Interval(float(middle), float(low), float(high))


def _said(grid: _Grid, s: Floats, whole: bool, outliers: tuple[int, ...], meter: MeterKind, limit_thd: float) -> Knee:
    rng = np.random.default_rng(1)
    chosen = np.searchsorted(np.cumsum(grid.weights), (np.arange(DRAWS) + rng.random()) / DRAWS)
    chosen = np.minimum(chosen, len(grid.weights) - 1)
    sharp = grid.sharpness[chosen]
    # half a cell of the grid to either side, so that a narrow posterior isn't a comb
    onset = grid.onset[chosen] + rng.uniform(-0.5, 0.5, DRAWS) * grid.cell[0]
    per_step = grid.per_step[chosen] + rng.uniform(-0.5, 0.5, DRAWS) * grid.cell[1]
    hard = math.log10(float(clipped_sine_rms(drive=drive_for_thd(thd=limit_thd))) * math.sqrt(2))
    level_db = np.empty(DRAWS)
    for p in SHARPNESSES:
        true = bend(p, true_rms=True)
        level_db[sharp == p] = float(true.shown(true.drive_at(limit_thd))) - 20 * hard
    inside = float(np.mean(onset < s[-1]))
    steps = np.arange(s[0], s[-1] + 1) if whole else s
    if inside < SHOWN:
        surely = [float(k) for k in steps if np.mean(onset >= k) >= SHOWN]
        last = surely[-1] if surely else None
        sure = float(np.mean(onset >= last)) if last is not None else 0.0
        why = "the readings rise evenly to the last: no knee is shown"
        return Knee(
            False, last, sure, None, None, _interval(per_step), None, outliers, "go_on", _step_up(s, whole), why
        )
    cells = np.histogram(onset, bins=np.append(steps, np.inf))[0] / DRAWS
    if np.mean(onset < steps[0]) >= SHOWN:
        why = "already the first reading is past the knee: begin lower"
        return Knee(
            True, None, float(np.mean(onset < steps[0])), None, None, None, None, outliers, "go_on",
            float(s[0] - (s[1] - s[0])), why,
        )  # fmt: skip
    best = int(np.argmax(cells))
    c = grid.centre[chosen] + rng.normal(size=DRAWS) * np.sqrt(grid.centre_var[chosen])
    c += rng.uniform(-1, 1, DRAWS) * DB_PER_RATIO * meter.accuracy * math.sqrt(0.5)
    advice, where = _advice(onset, s, whole, float(cells[best]), float(np.median(per_step)))
    return Knee(
        True,
        float(steps[best]),
        float(cells[best]),
        _interval(onset),
        _interval(10 ** ((c + level_db) / 20)),
        _interval(per_step),
        float(np.mean(np.isinf(sharp))),
        outliers,
        advice,
        where,
    )


def _advice(onset: Floats, s: Floats, whole: bool, confidence: float, per_step: float) -> tuple[Advice, float | None]:
    """Return what would tell most: a step left out near the knee, one more above it, or nothing."""
    if confidence >= SURE_ENOUGH:
        return "enough", None
    low, middle, high = np.quantile(onset, [0.05, 0.5, 0.95])
    if whole:
        left_out = [
            float(k) for k in np.arange(math.floor(low), math.ceil(high) + 1) if k not in s and s[0] < k < s[-1]
        ]
        if left_out:
            return "measure_between", min(left_out, key=lambda k: abs(k - middle))
    if (s[-1] - middle) * per_step < ABOVE_DB:
        return "go_on", _step_up(s, whole)
    return "enough", None
