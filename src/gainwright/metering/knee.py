"""Find the onset of clipping in meter readings taken step by step.

Model. The level rises along the control as its `Taper` does, L(s) dB: evenly, with steps that grow or shrink, or in two or
three pieces. What the meter shows of it follows a `CompressionCurve`, whose THD reaches the limit at the step x:
y_i = c + compression_curve(u + L(s_i) - L(x)), u the drive of that limit. The model includes: the meter's repeatability
and last digit; a separate gain error for each of its ranges, within its accuracy; single steps that are uneven, and steps
whose unevenness adds up; a ceiling that sags. c, the taper's sizes and the ranges' errors are integrated out; x, the shape
of the bend, the kind of taper and the unevenness are weighed, so that every figure is a statistic of one posterior
(JCGM 101:2008 without its Monte Carlo). A reading far from the others (a typing error) is given less weight, by a t
distribution, and reported. Readings of the same steps with the tone lower show the taper without the ceiling.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from gainwright.errors import ReadingError
from gainwright.metering.compression_curves import SHAPES, CeilingShape, compression_curve
from gainwright.metering.interval import Interval, interval_from_parts, interval_parts
from gainwright.metering.knee_advice import (
    LOWER_DB,
    Advice,
    next_reading,
    slows,
    step_down,
    step_up,
    steps_with_lower_tone,
)
from gainwright.metering.knee_fits import DB_PER_RATIO, LEAST_DB, Readings
from gainwright.metering.knee_many import of_rows, readings_used
from gainwright.metering.knee_posterior import OUTLIER_WEIGHT, Posterior, fastest_rise, search
from gainwright.physics import clipped_sine_rms, drive_for_thd

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.metering.compression_curves import Shows

    Floats = npt.NDArray[np.float64]

FARTHEST_STEP = 10_000.0
"""Of any control, whether its steps are counted, in per cent or in decibels."""
LEAST_READINGS = 4
REPEATS_DB = 0.011
"""Standard deviation of one reading in addition to its last digit: 0.13 % (common practice, no published source)."""
SHOWN = 0.95
"""Probability from which a knee is reported."""
SURE_ENOUGH = 0.9
"""Probability of the last clean step from which no further reading is suggested."""
SURE_UNREAD = 0.98
"""The same of a step between two that were read."""
KNOWN_WITHIN = 1.12
"""Ratio of the ends of the ceiling's interval below which it is known well enough."""
HARDLY_DB = 0.15
"""Rise per step below which the control has no effect."""
SCATTERED = 0.34
"""Largest share of outliers for which a result is given."""
DRAWS = 8192


@dataclass(frozen=True, slots=True)
class MeterKind:
    """How the readings were taken: what is shown, accuracy as a share of the reading, counts, the largest number shown.

    Where it isn't known whether a meter responds to the rms or to the average, `unknown` weighs both.
    """

    shows: Shows | Literal["unknown"] = "rms"
    accuracy: float = 0.01
    counts: int = 3
    full_counts: int = 6000


@dataclass(frozen=True, slots=True)
class LowerColumn:
    """A second column of readings at the same control with the tone lower by `lower_db` (dB), at some of its steps."""

    steps: Sequence[float]
    readings_v: Sequence[float]
    lower_db: float = LOWER_DB


@dataclass(frozen=True, slots=True)
class Knee:
    """The result of a column of readings. Figures that can't be determined are None, with the reason in `why_not`.

    `_low` and `_high` are the ends of a figure's 95 % interval; `ceiling_low` and `ceiling_high` are in volts rms.

    Attributes
    ----------
    found : whether the readings show a knee.
    last_clean_step : the highest step measured (or between two measured ones, whole) with THD under the limit.
    confidence : probability that this step is clean and the next is not.
    onset_step : where THD reaches the limit, in steps.
    ceiling_v_rms : rms of the largest clean sine, the meter's own error included.
    db_per_step : rise of a step below the knee.
    hard_probability : probability that the ceiling is a hard one.
    outliers : indexes of readings that don't fit the others; those of a second column are counted on from the first's.
    advice, next_step : what to do next, and at which step.
    lower_steps, lower_db : steps to be read once more with the tone lowered by `lower_db`, where that would decide; else none.
    curve : (step, volts rms) of the likeliest curve, for drawing.
    """

    found: bool
    last_clean_step: float | None
    confidence: float
    onset_step: float | None
    onset_step_low: float | None
    onset_step_high: float | None
    ceiling_v_rms: float | None
    ceiling_low: float | None
    ceiling_high: float | None
    db_per_step: float | None
    db_per_step_low: float | None
    db_per_step_high: float | None
    hard_probability: float | None
    outliers: tuple[int, ...]
    advice: Advice
    next_step: float | None
    why_not: str = ""
    curve: tuple[tuple[float, float], ...] = ()
    lower_steps: tuple[float, ...] = ()
    lower_db: float | None = None

    @property
    def onset(self) -> Interval | None:
        """The step at which clipping begins, with its interval."""
        return interval_from_parts(self.onset_step, self.onset_step_low, self.onset_step_high)

    @property
    def ceiling(self) -> Interval | None:
        """The rms of the largest clean sine in volts, with its interval."""
        return interval_from_parts(self.ceiling_v_rms, self.ceiling_low, self.ceiling_high)

    @property
    def rise(self) -> Interval | None:
        """The rise of a step below the knee in dB, with its interval."""
        return interval_from_parts(self.db_per_step, self.db_per_step_low, self.db_per_step_high)


def find_knee(
    steps: Sequence[float],
    readings_v: Sequence[float],
    *,
    meter: MeterKind = MeterKind(),
    limit_thd: float = 0.01,
    lower: LowerColumn | None = None,
) -> Knee:
    """Estimate the knee from readings at steps of one control; of more than 101, those that tell the most are used (`knee_many`).

    Parameters
    ----------
    steps : positions of the control at any spacing, volume steps or per cent of travel; higher is louder.
    readings_v : the meter's readings, volts rms.
    limit_thd : ratio up to which a sine is clean.
    lower : the same control with the tone lower, which shows its steps alone.

    Raises
    ------
    ReadingError : lengths that differ, readings that aren't positive numbers, very different readings of one step, a limit outside 0.01 % to 40 %,
        a second column that isn't 3 to 40 dB lower.
    """
    s, volts, order = _checked(steps, readings_v, limit_thd)
    whole = bool(np.all(s == np.round(s)))
    if len(s) < LEAST_READINGS:
        return _nothing("too_few", f"{len(s)} readings; {LEAST_READINGS} are needed", next_step=step_up(s, whole))
    lower_db = np.zeros(len(s))
    fastest = fastest_rise(s, 20 * np.log10(volts))
    if fastest <= LEAST_DB:
        why = "the readings hardly rise: the control has no effect here, or all of them are past the knee"
        return _nothing("go_lower", why, next_step=step_down(s, whole))
    if lower is not None:
        s, volts, order, lower_db = _with_lower(s, volts, order, lower, limit_thd)
    noise_db, ranges = _noise(volts, meter)
    kinds: tuple[Shows, ...] = ("rms", "average") if meter.shows == "unknown" else (meter.shows,)
    ceilings = [CeilingShape(*shape, shows) for shows in kinds for shape in SHAPES]
    variance = (DB_PER_RATIO * meter.accuracy) ** 2 / 3
    data = Readings(s, 20 * np.log10(volts), lower_db, noise_db, ranges, variance, np.ones(len(s)), limit_thd, fastest)
    try:
        used = readings_used(data, ceilings)
        data, order = of_rows(data, used), order[used]
        grid, data = search(data, ceilings)
    except np.linalg.LinAlgError:
        raise ReadingError(
            f"no curve can be fitted to steps from {np.min(s):g} to {np.max(s):g}",
            code="bad_readings",
            remedy="look for a step that was typed wrong",
        ) from None
    outliers = tuple(sorted(int(order[i]) for i in np.flatnonzero(data.weights < OUTLIER_WEIGHT)))
    return _result(grid, data, whole, outliers, meter)


def _with_lower(
    s: Floats, volts: Floats, order: npt.NDArray[np.intp], lower: LowerColumn, limit_thd: float
) -> tuple[Floats, Floats, npt.NDArray[np.intp], Floats]:
    """Return both columns one after the other, and by how much the tone was lower."""
    if not 3 <= lower.lower_db <= 40:
        raise ReadingError(
            f"a second column {lower.lower_db:g} dB lower", code="bad_option", rule="it must be 3 to 40 dB lower"
        )
    more, more_volts, more_order = _checked(lower.steps, lower.readings_v, limit_thd)
    return (
        np.concatenate([s, more]),
        np.concatenate([volts, more_volts]),
        np.concatenate([order, more_order + len(s)]),
        np.concatenate([np.zeros(len(s)), np.full(len(more), lower.lower_db)]),
    )


def _checked(
    steps: Sequence[float], readings_v: Sequence[float], limit_thd: float
) -> tuple[Floats, Floats, npt.NDArray[np.intp]]:
    s, volts = np.asarray(steps, dtype=np.float64), np.asarray(readings_v, dtype=np.float64)
    if s.shape != volts.shape or s.ndim != 1:
        raise ReadingError(
            f"{s.size} steps and {volts.size} readings", code="bad_readings", remedy="give one reading for each step"
        )
    if not 1e-4 <= limit_thd <= 0.4:
        raise ReadingError(f"a limit of {100 * limit_thd:g} % THD", code="bad_option", rule="it must be 0.01 to 40 %")
    if np.any(np.abs(s) > FARTHEST_STEP):
        i = int(np.argmax(np.abs(s)))
        raise ReadingError(
            f"reading {i + 1} is at step {s[i]:g}",
            code="bad_readings",
            rule=f"steps are within ±{FARTHEST_STEP:g}",
            remedy="look for a digit too many",
        )
    if not (np.all(np.isfinite(s)) and np.all(np.isfinite(volts)) and np.all(volts > 0)):
        i = int(np.flatnonzero(~(np.isfinite(s) & np.isfinite(volts) & (volts > 0)))[0])
        raise ReadingError(
            f"reading {i + 1} is {volts[i]:g} V at step {s[i]:g}",
            code="bad_readings",
            rule="steps must be numbers and readings above zero",
            remedy="leave out steps at which the meter shows nothing",
        )
    order = np.argsort(s, kind="stable")
    return s[order], volts[order], order


def _noise(volts: Floats, meter: MeterKind) -> tuple[Floats, npt.NDArray[np.intp]]:
    """Return each reading's own standard deviation in dB, and which range of the meter it was read on."""
    # ranges in decades, the finest digit 0.1 mV
    decade = np.maximum(np.ceil(np.log10(np.maximum(volts, 1e-9) / meter.full_counts)), -4)
    # the range is changed by what comes in, before its gain error: near the end, a last digit of 0 is the next range's
    next_digit = 10.0 ** (decade + 1)
    rounded = np.abs(volts - np.round(volts / next_digit) * next_digit) < 0.01 * next_digit
    decade += (volts > (1 - 2 * meter.accuracy) * meter.full_counts * 10.0**decade) & rounded
    digit = 10.0**decade
    counts = digit * math.sqrt((meter.counts**2) / 3 + 1 / 12)
    return np.hypot(DB_PER_RATIO * counts / volts, REPEATS_DB), (decade - np.min(decade)).astype(np.intp)


# ---- result ----------------------------------------------------------------------------------------


def _nothing(advice: Advice, why: str, *, next_step: float | None, outliers: tuple[int, ...] = ()) -> Knee:
    unknown = interval_parts(None)
    return Knee(False, None, 0.0, *unknown, *unknown, *unknown, None, outliers, advice, next_step, why)


def _interval(values: Floats) -> Interval:
    low, middle, high = np.quantile(values, [0.025, 0.5, 0.975])
    return Interval(float(middle), float(low), float(high))


def _result(grid: Posterior, data: Readings, whole: bool, outliers: tuple[int, ...], meter: MeterKind) -> Knee:
    s, limit_thd = data.s[data.lower_db == 0], data.limit_thd
    rng = np.random.default_rng(1)
    chosen = np.searchsorted(np.cumsum(grid.weights), (np.arange(DRAWS) + rng.random()) / DRAWS)
    chosen = np.minimum(chosen, len(grid.weights) - 1)
    of_curve = grid.curve[chosen]
    sharp = np.array([curve.sharpness for curve in grid.curves.curves])[of_curve]
    # half a cell to either side, so that a narrow posterior isn't a comb
    onset = grid.onset[chosen] + rng.uniform(-0.5, 0.5, DRAWS) * grid.cell[chosen]
    per_step = grid.per_step[chosen] + rng.normal(size=DRAWS) * np.sqrt(grid.per_step_var[chosen])
    level_db = _limit_levels(grid, of_curve, limit_thd)
    if len(outliers) > SCATTERED * len(data.s):
        why = f"{len(outliers)} of {len(data.s)} readings don't fit the others: check the lead, the range and the tone"
        return _nothing("read_again", why, next_step=None, outliers=outliers)
    inside = float(np.mean(onset < s[-1]))
    steps = np.arange(s[0], s[-1] + 1) if whole else s
    if inside < SHOWN:
        return _no_knee(grid, data, onset, steps, per_step, outliers)
    cells = np.histogram(onset, bins=np.append(steps, np.inf))[0] / DRAWS
    if np.mean(onset < steps[0]) >= SHOWN:
        why = "the first reading is already past the knee: start lower"
        return _nothing("go_lower", why, next_step=step_down(s, whole), outliers=outliers)
    best = int(np.argmax(cells))
    c = grid.centre[chosen] + rng.normal(size=DRAWS) * np.sqrt(grid.centre_var[chosen])
    c += rng.uniform(-1, 1, DRAWS) * DB_PER_RATIO * meter.accuracy * math.sqrt(0.5)
    ceiling = _interval(10 ** ((c + level_db) / 20))
    enough = SURE_ENOUGH if steps[best] in s else SURE_UNREAD
    sure = cells[best] >= enough and ceiling.high / ceiling.low < KNOWN_WITHIN
    advice: Advice
    advice, where = ("enough", None) if sure else next_reading(onset, s, whole, float(np.median(per_step)))
    lower = steps_with_lower_tone(grid, data, onset, float(np.median(per_step)), float(cells[best]))
    if lower and advice == "enough":
        advice, where = "read_lower", lower[0]
    return Knee(
        True,
        float(steps[best]),
        float(cells[best]),
        *interval_parts(_interval(onset)),
        *interval_parts(ceiling),
        *interval_parts(_interval(per_step)),
        float(np.mean(np.isinf(sharp))),
        outliers,
        advice,
        where,
        curve=_curve(grid, s),
        lower_steps=lower,
        lower_db=LOWER_DB if lower else None,
    )


def _no_knee(
    grid: Posterior, data: Readings, onset: Floats, steps: Floats, per_step: Floats, outliers: tuple[int, ...]
) -> Knee:
    """Return how far it is surely clean, and what would show a knee."""
    s, whole = data.s[data.lower_db == 0], bool(np.all(steps == np.round(steps)))
    surely = [float(k) for k in steps if np.mean(onset >= k) >= SHOWN]
    last = surely[-1] if surely else None
    sure = float(np.mean(onset >= last)) if last is not None else 0.0
    if data.fastest < HARDLY_DB:
        why = "the readings hardly rise: the control has no effect here, or all of them are past the knee"
        return _nothing("go_lower", why, next_step=step_down(s, whole), outliers=outliers)
    lower: tuple[float, ...] = ()
    why = "the readings rise evenly to the last: there is no knee"
    if slows(s, data.y[data.lower_db == 0]):
        why = "the last readings rise by less than those before: the control's steps are smaller there, or it is the ceiling"
        lower = steps_with_lower_tone(grid, data, np.minimum(onset, s[-1]), data.fastest, sure)
    return Knee(
        False,
        last,
        sure,
        *interval_parts(None),
        *interval_parts(None),
        *interval_parts(_interval(per_step)),
        None,
        outliers,
        "go_on",
        step_up(s, whole),
        why,
        lower_steps=lower,
        lower_db=LOWER_DB if lower else None,
    )


def _limit_levels(grid: Posterior, of_curve: npt.NDArray[np.intp], limit_thd: float) -> Floats:
    """Return the rms of a sine at the limit under each draw's ceiling, in dB of one that just reaches a hard one."""
    hard = math.log10(float(clipped_sine_rms(drive=drive_for_thd(thd=limit_thd))) * math.sqrt(2))
    level_db = np.empty(len(of_curve))
    for i in np.unique(of_curve):
        curve = grid.curves.curves[i]
        true = compression_curve(curve.sharpness, curve.straight, curve.bend, shows="rms")
        level_db[of_curve == i] = float(true.shown(true.drive_at(limit_thd))) - 20 * hard
    return level_db


def _curve(grid: Posterior, s: Floats) -> tuple[tuple[float, float], ...]:
    best = int(np.argmax(grid.weights))
    steps = np.linspace(s[0], s[-1], 121)
    of_curve, taper = grid.curve[best], grid.taper[best]
    parts = grid.tapers.level(taper, steps) - grid.tapers.level(taper, grid.onset[best])
    drive = parts @ grid.parameters[best, 1:] + grid.curves.drive_at[of_curve]
    shown, _ = grid.curves.shown(drive, of_curve)
    volts = 10 ** ((grid.centre[best] + shown) / 20)
    return tuple(zip(steps.tolist(), volts.tolist(), strict=True))
