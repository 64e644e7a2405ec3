"""What to read next along a column: a step more, one between, one lower, or the same steps with the tone lower."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np

from gainwright.metering.knee_fits import LEAST_DB
from gainwright.metering.knee_posterior import fastest_rise, within_with

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.metering.knee_fits import Readings
    from gainwright.metering.knee_posterior import Posterior

    Floats = npt.NDArray[np.float64]

ABOVE_DB = 3.0
"""Range above the onset, dB, in which readings are still informative."""
LOWER_DB = 10.0
"""How much lower the tone is to be for a column that shows the control's steps alone."""
BELOW_DB = 6.0
"""From how far below the onset on that column is read."""
DECIDES = 0.05
"""What another column must be expected to add to the probability of the last clean step before it is asked for."""
UNEVEN_ENOUGH = 0.2
"""Probability of a taper that isn't even from which one column alone isn't trusted to tell it from the ceiling."""
SLOWER = 0.8
"""Share of the usual rise below which the last steps may be those of a ceiling."""
LAST = 3
"""Readings at the end whose rise is compared with the rest."""
Advice = Literal["go_on", "go_lower", "measure_between", "read_again", "read_lower", "enough", "too_few"]


def step_up(s: Floats, whole: bool) -> float | None:
    """Return the next step above those that were read."""
    if len(s) == 0:
        return None
    gap = float(np.median(np.diff(s))) if len(s) > 1 else 1.0
    return float(s[-1] + (max(1.0, round(gap)) if whole else gap))


def step_down(s: Floats, whole: bool) -> float:
    """Return a step below those that were read, as far again as they reach."""
    gap = float(s[-1] - s[0])
    return float(max(0.0, s[0] - (max(1.0, round(gap)) if whole else gap)))


def next_reading(onset: Floats, s: Floats, whole: bool, per_step: float) -> tuple[Advice, float | None]:
    """Return the most informative next step: a missing one near the knee, one more above it, or none."""
    low, middle, high = np.quantile(onset, [0.05, 0.5, 0.95])
    if whole:
        left_out = [
            float(k) for k in np.arange(math.floor(low), math.ceil(high) + 1) if k not in s and s[0] < k < s[-1]
        ]
        if left_out:
            return "measure_between", min(left_out, key=lambda k: abs(k - middle))
    if (s[-1] - middle) * per_step < ABOVE_DB:
        return "go_on", step_up(s, whole)
    return "enough", None


def slows(s: Floats, y: Floats) -> bool:
    """Return whether the last readings rise by clearly less per step than those before them."""
    if len(s) < LAST + 4 or s[-1] == s[-1 - LAST]:
        return False
    return bool((y[-1] - y[-1 - LAST]) / (s[-1] - s[-1 - LAST]) < SLOWER * fastest_rise(s[:-LAST], y[:-LAST]))


def steps_with_lower_tone(
    grid: Posterior, data: Readings, onset: Floats, per_step: float, confidence: float
) -> tuple[float, ...]:
    """Return the steps that are to be read with the tone lower, none when they were or when that isn't expected to decide."""
    if np.any(data.lower_db > 0):
        return ()
    even = np.array([not kind.changes and not kind.smooth for kind in grid.tapers.kinds])
    uneven = float(np.sum(grid.weights[~even[grid.taper]]))
    low = float(np.quantile(onset, 0.05)) - BELOW_DB / max(per_step, LEAST_DB)
    steps = np.unique(data.s[data.s >= low])
    within = within_with(grid, data, steps, LOWER_DB)
    apart = np.abs(onset - np.round(onset)) / within
    expected = float(np.mean([0.5 * (1 + math.erf(z / math.sqrt(2))) for z in apart[:: len(apart) // 256]]))
    return tuple(float(k) for k in steps) if expected > confidence + DECIDES or uneven > UNEVEN_ENOUGH else ()
