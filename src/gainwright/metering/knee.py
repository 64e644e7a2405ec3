"""Where clipping began, from readings of a meter step by step.

Model. The level rises by d dB a step; what the meter shows of it follows a `Bend` from the step x at which a hard ceiling
would just be touched: y_i = c + bend(d (s_i - x)). Around it lie: the meter's repeatability and last digit; a gain error
of its own for each of its ranges, inside its accuracy; single steps that are uneven, and steps whose unevenness adds up.
c and the ranges' errors are linear and Gaussian and are integrated out; x, d, the shape of the bend and the unevenness
lie on a grid, so that every figure is a statistic of one posterior (JCGM 101:2008 without its Monte Carlo). A reading far
off the rest (a mistyped one) is weighed down by a t distribution's weights and named.
"""

from __future__ import annotations

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
LEAST_DB, MOST_DB = 0.05, 12.0
"""A step's size, dB."""

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
    weights = np.ones(len(s))
    grid = _posterior(s, y, noise_db, ranges, weights, meter, limit_thd)
    for _ in range(4):
        weights = _weights(grid, s, y, noise_db, meter)
        grid = _posterior(s, y, noise_db, ranges, weights, meter, limit_thd)
    outliers = tuple(int(i) for i in np.flatnonzero(weights < OUTLIER_WEIGHT))
    return _said(grid, s, whole, outliers, meter, limit_thd)


def _checked(steps: Sequence[float], readings_v: Sequence[float], limit_thd: float) -> tuple[Floats, Floats]:
    s, volts = np.asarray(steps, dtype=np.float64), np.asarray(readings_v, dtype=np.float64)
    if s.shape != volts.shape or s.ndim != 1:
        raise ReadingError(f"{s.size} steps and {volts.size} readings", code="bad_readings", remedy="give one reading a step")
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
    return np.hypot(20 / math.log(10) * counts / volts, REPEATS_DB), (decade - np.min(decade)).astype(np.intp)


def _posterior(
    s: Floats,
    y: Floats,
    noise_db: Floats,
    ranges: npt.NDArray[np.intp],
    weights: Floats,
    meter: MeterKind,
    limit_thd: float,
) -> _Grid:
    """Weigh a grid, coarse first, then where the weight is."""
    bends = [bend(p, true_rms=meter.true_rms) for p in SHARPNESSES]
    span = float(s[-1] - s[0])
    steps_between = np.diff(s)
    rises = np.diff(y)[steps_between > 0] / steps_between[steps_between > 0]
    fastest = float(np.clip(np.quantile(rises, 0.75), LEAST_DB, MOST_DB)) if len(rises) else 1.0
    x = np.linspace(s[0] - 3 / fastest, s[-1] + 0.4 * span + 20 / fastest, 90)
    d = fastest * np.geomspace(0.4, 2.5, 70)
    coarse = _weighed(s, y, noise_db, ranges, weights, meter, bends, x, d, UNEVEN_DB[:2], WANDER_DB[:2])
    x = _around(coarse.onset, coarse.weights, x)
    d = _around(coarse.per_step, coarse.weights, d)
    del limit_thd
    return _weighed(s, y, noise_db, ranges, weights, meter, bends, x, d, UNEVEN_DB, WANDER_DB)


def _around(values: Floats, weights: Floats, grid: Floats) -> Floats:
    """Return a finer grid where the weight is, and two old steps more on either side."""
    order = np.argsort(values)
    share = np.cumsum(weights[order])
    low, high = values[order][np.searchsorted(share, 1e-4)], values[order][min(np.searchsorted(share, 1 - 1e-4), len(order) - 1)]
    step_low = grid[1] - grid[0]
    step_high = grid[-1] - grid[-2]
    return np.linspace(max(low - 2 * step_low, grid[0]), min(high + 2 * step_high, grid[-1]), 90)


def _weighed(
    s: Floats,
    y: Floats,
    noise_db: Floats,
    ranges: npt.NDArray[np.intp],
    weights: Floats,
    meter: MeterKind,
    bends: Sequence[Bend],
    x: Floats,
    d: Floats,
    uneven: Sequence[float],
    wander: Sequence[float],
) -> _Grid:
    """Return the posterior on x by d by bend by unevenness, c integrated out under a flat prior."""
    count = len(s)
    drive = d[None, :, None] * (s[None, None, :] - x[:, None, None])
    same_range = (ranges[:, None] == ranges[None, :]).astype(float)
    range_var = (20 / math.log(10) * meter.accuracy) ** 2 / 3
    size = x.size * d.size
    logs, centres, variances, sharp = [], [], [], []
    for shape in bends:
        residual = (y - shape.shown(drive)).reshape(size, count)
        # the hand's unevenness passes the bend as far as it passes level: near the best point of this shape
        best = int(np.argmin(np.sum(weights * (residual - np.average(residual, axis=1, weights=weights)[:, None]) ** 2, axis=1)))
        passes = np.clip(shape.slope(drive.reshape(size, count)[best]), 0, 1)
        for sigma in uneven:
            for step_sigma in wander:
                between = np.minimum(np.abs(s[:, None] - s[best_index(s, x, d, best)]), 0)
                del between
                walk = _walk(s, float(np.repeat(x, d.size)[best]))
                covariance = np.diag((noise_db**2 + (sigma * passes) ** 2) / weights)
                covariance += 0.5 * range_var * same_range + step_sigma**2 * walk * np.outer(passes, passes)
                lower = np.linalg.cholesky(covariance)
                white = np.linalg.solve(lower, np.concatenate([residual, np.ones((1, count))]).T).T
                ones = white[-1]
                information = float(ones @ ones)
                centre = white[:-1] @ ones / information
                square = np.einsum("ij,ij->i", white[:-1], white[:-1]) - information * centre**2
                logs.append(-0.5 * square - np.sum(np.log(np.diag(lower))) - 0.5 * math.log(information))
                centres.append(centre)
                variances.append(np.full(size, 1 / information))
                sharp.append(np.full(size, shape.sharpness))
    log = np.concatenate(logs)
    prior = np.tile(-np.log(np.tile(d, x.size)), len(logs))  # scale parameter: flat in its logarithm
    log = log + prior
    share = np.exp(log - np.max(log))
    repeat = len(logs)
    return _Grid(
        share / np.sum(share),
        np.tile(np.repeat(x, d.size), repeat),
        np.tile(np.tile(d, x.size), repeat),
        np.concatenate(centres),
        np.concatenate(variances),
        np.concatenate(sharp),
    )
