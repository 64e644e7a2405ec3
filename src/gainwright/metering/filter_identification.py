"""Identify the filters of a path: shape, order and corner, by fitting the filters of a job file to a measured response."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from gainwright.errors import RecordingError
from gainwright.metering.response import PER_OCTAVE
from gainwright.physics import SLOPES_DB_PER_OCTAVE, filter_response
from gainwright.results import Number
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from gainwright.metering.response import Response

    Floats = npt.NDArray[np.float64]
    Complexes = npt.NDArray[np.complex128]

DEEPEST_DB = 30.0
"""Range below the highest level in which a response is used, dB."""
LEAST_SURE_DB = 0.03
"""Ripple of recorder and path that no filter explains, dB (common practice, no published source)."""
PHASE_RAD = 0.002
"""Phase error left by a small error of a corner, radians (seen in tests/truth, no published source)."""
LEAST_POINTS = 16
LOGS = (math.log(0.1), math.log(1e6))
"""Bounds of the corners."""
NEEDED_DB = 1.5
"""A side of the response that falls by less has no filter, dB."""


Side = Literal["low", "high"]
Polarity = Literal["normal", "reversed"]


@dataclass(frozen=True, slots=True)
class IdentifiedFilter:
    """One filter that explains a side of a response: its corner with the 95 % interval; `text` as in a job file."""

    kind: Side
    text: str
    shape: str
    slope_db_per_octave: int
    corner_hz: float
    corner_hz_low: float
    corner_hz_high: float


@dataclass(frozen=True, slots=True)
class IdentifiedPath:
    """The filters of a path, and its level, polarity and remaining delay.

    Attributes
    ----------
    filters : none, one or two.
    level_db : gain in the passband, with its 95 % interval.
    polarity : None when the phase doesn't show it.
    delay_s : in addition to the filters' own; `delay_within_s` is half of its 95 % interval.
    misfit_db : rms of the residual.
    """

    filters: tuple[IdentifiedFilter, ...]
    level_db: float
    level_db_low: float
    level_db_high: float
    polarity: Polarity | None
    delay_s: float
    delay_within_s: Number
    misfit_db: float


def identify_filters(response: Response) -> IdentifiedPath:
    """Return the filters that explain a response best, and the remaining level, polarity and delay.

    Raises
    ------
    RecordingError : too little of it is above the noise.
    """
    level = response.level_db
    top = float(np.quantile(level, 0.98))
    good = (level > top - DEEPEST_DB) & (response.sure_db < 3.0) & (response.coherence > 0.3)
    if np.count_nonzero(good) < LEAST_POINTS:
        raise RecordingError(
            say("too little of the response is above the noise"),
            code="no_sweep",
            remedy=say("play louder, record longer"),
        )
    hz, level = response.frequency_hz[good], level[good]
    sure = np.hypot(response.sure_db[good], LEAST_SURE_DB)
    kinds = _sides(level, top)
    best: _Fit | None = None
    for candidate in _candidates(hz, level, sure, kinds):
        if best is None or candidate.cost < best.cost:
            best = candidate
    assert best is not None  # noqa: S101  a flat path is always a candidate
    shaped = best.response(response.frequency_hz)
    polarity, extra_s, within_s = _phase(response, shaped)
    filters = tuple(
        _filter(kind, shape, slope, corner, sd)
        for (kind, shape, slope), corner, sd in zip(best.kinds, best.corners, best.corner_sd, strict=True)
    )
    misfit = level - best.level_db - 20 * np.log10(np.abs(best.response(hz)))
    half_db = 1.96 * best.level_sd
    return IdentifiedPath(
        filters,
        best.level_db,
        best.level_db - half_db,
        best.level_db + half_db,
        polarity,
        response.delay_s + extra_s,
        within_s,
        float(np.sqrt(np.mean(misfit**2))),
    )


def _filter(kind: Side, shape: str, slope: int, corner_hz: float, sd_of_log: float) -> IdentifiedFilter:
    spread = math.exp(min(1.96 * sd_of_log, LOGS[1]))
    text = f"{shape} {slope} at {corner_hz:.4g} Hz"
    return IdentifiedFilter(kind, text, shape, slope, corner_hz, corner_hz / spread, corner_hz * spread)


Kind = tuple[Side, str, int]


@dataclass(slots=True)
class _Fit:
    kinds: tuple[Kind, ...]
    corners: tuple[float, ...]
    corner_sd: tuple[float, ...]
    level_db: float
    level_sd: float
    cost: float

    def response(self, hz: Floats) -> Complexes:
        total = np.ones(len(hz), dtype=np.complex128)
        for (kind, shape, slope), corner in zip(self.kinds, self.corners, strict=True):
            total = total * filter_response(
                shape=shape, slope_db_per_octave=slope, kind=kind, corner_hz=corner, frequency_hz=hz
            )
        return total


def _sides(level: Floats, top: float) -> tuple[bool, bool]:
    """Return whether the low end and the high end of a response fall."""
    edge = max(3, len(level) // 20)
    return bool(np.median(level[:edge]) < top - NEEDED_DB), bool(np.median(level[-edge:]) < top - NEEDED_DB)


def _candidates(hz: Floats, level: Floats, sure: Floats, falls: tuple[bool, bool]) -> Sequence[_Fit]:
    each = [(shape, slope) for shape, slopes in SLOPES_DB_PER_OCTAVE.items() for slope in slopes]
    each.remove(("bessel", 6))  # there is only one first-order filter
    highs: list[Kind] = [("high", *e) for e in each] if falls[0] else []
    lows: list[Kind] = [("low", *e) for e in each] if falls[1] else []
    middle = float(np.exp(np.average(np.log(hz), weights=10 ** ((level - np.max(level)) / 10))))
    low_side, high_side = hz <= middle, hz >= middle
    if highs and lows and min(np.count_nonzero(low_side), np.count_nonzero(high_side)) < LEAST_POINTS // 2:
        return [_fit(hz, level, sure, ())]
    if highs and lows:
        # each side by itself first, then the best few of both together
        highs = _best_few(hz[low_side], level[low_side], sure[low_side], highs)
        lows = _best_few(hz[high_side], level[high_side], sure[high_side], lows)
        return [_fit(hz, level, sure, pair) for pair in itertools.product(highs, lows)]
    if not highs and not lows:
        return [_fit(hz, level, sure, ())]
    return [_fit(hz, level, sure, (kind,)) for kind in (*highs, *lows)]


def _best_few(hz: Floats, level: Floats, sure: Floats, kinds: list[Kind]) -> list[Kind]:
    fits = sorted((_fit(hz, level, sure, (kind,)) for kind in kinds), key=lambda fit: fit.cost)
    return [fit.kinds[0] for fit in fits[:4]]


def _fit(hz: Floats, level: Floats, sure: Floats, kinds: tuple[Kind, ...]) -> _Fit:
    """Fit level and corners of given filters to a level in dB by weighted least squares."""
    from scipy.optimize import least_squares

    top = float(np.quantile(level, 0.95))
    start = [top, *(math.log(_first_corner(hz, level, top, kind)) for kind, _, _ in kinds)]

    def model(values: Any) -> Any:
        total: Any = values[0]
        for (kind, shape, slope), log_corner in zip(kinds, values[1:], strict=True):
            h = filter_response(
                shape=shape,
                slope_db_per_octave=slope,
                kind=kind,
                corner_hz=math.exp(min(max(log_corner, LOGS[0]), LOGS[1])),
                frequency_hz=hz,
            )
            total = total + 20 * np.log10(np.maximum(np.abs(h), 1e-9))
        return total

    found = least_squares(lambda v: (model(v) - level) / sure, start, method="lm", max_nfev=200)
    freedom = max(1, len(hz) - len(start))
    scale = max(1.0, 2 * float(found.cost) / freedom)
    covariance = np.linalg.pinv(found.jac.T @ found.jac) * scale
    sd = np.sqrt(np.maximum(np.diag(covariance), 0))
    corners = tuple(math.exp(min(max(v, LOGS[0]), LOGS[1])) for v in found.x[1:])
    return _Fit(kinds, corners, tuple(map(float, sd[1:])), float(found.x[0]), float(sd[0]), float(found.cost))


def _first_corner(hz: Floats, level: Floats, top: float, kind: str) -> float:
    """Return the frequency at which a side is 3 dB below the top."""
    over = np.flatnonzero(level > top - 3)
    if len(over) == 0:
        return float(hz[len(hz) // 2])
    return float(hz[over[0]] if kind == "high" else hz[over[-1]])


def _phase(response: Response, shaped: Complexes) -> tuple[Polarity | None, float, float]:
    """Return the polarity and the delay without the filters' own phase, with half its 95 % interval."""
    loud = (np.abs(shaped) > 0.5) & (response.sure_db < 1.0)
    if np.count_nonzero(loud) < 6:
        return None, 0.0, math.inf
    hz = response.frequency_hz[loud]
    rest = response.h[loud] / shaped[loud]
    scale = float(np.max(np.abs(rest)))  # only angles count, and a gain may be next to nothing or far too much
    if not 0 < scale < math.inf:
        return None, 0.0, math.inf
    rest = rest / scale
    # the delay that aligns the phase best, on a grid of a sixteenth of the highest period, then by its slope
    widest = 1.0 / hz[0]
    delays = np.arange(-widest, widest, 1 / (16 * hz[-1]))
    gathered = np.abs(np.sum(rest[:, None] * np.exp(2j * np.pi * hz[:, None] * delays), axis=0))
    delay_s = float(delays[int(np.argmax(gathered))])
    for _ in range(3):
        turned = rest * np.exp(2j * np.pi * hz * delay_s)
        mean = np.sum(turned)
        angle = np.angle(turned * np.conj(mean))
        slope = float(np.sum(angle * (hz - hz.mean())) / np.sum((hz - hz.mean()) ** 2))
        delay_s -= slope / (2 * np.pi)
    turned = rest * np.exp(2j * np.pi * hz * delay_s)
    mean = complex(np.mean(turned))
    scatter = float(np.std(np.angle(turned * np.conj(mean)))) + PHASE_RAD
    spread = float(np.sqrt(np.sum((hz - hz.mean()) ** 2)))
    # neighbours on the grid share their noise: count an octave as four
    within_s = 1.96 * scatter * math.sqrt(PER_OCTAVE / 4) / (2 * np.pi * spread)
    if abs(mean.real) < 0.5 * abs(mean):
        return None, delay_s, float(within_s)
    return "normal" if mean.real > 0 else "reversed", delay_s, float(within_s)
