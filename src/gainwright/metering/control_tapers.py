"""How the steps of a control may grow or shrink along its travel: even, smoothly, or in two or three pieces.

A taper's level is linear in its parameters: the size of the first step, and what is added to it. Each has two such additions,
which are zero where a taper has fewer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

PARAMETERS = 3
CURVED_SHARE = (0.25, 0.1)
"""Standard deviation of a smooth taper's change of step over half the column, as a share of the step: even and odd part."""
PIECE_SHARE = 0.6
"""Standard deviation of the change of step from one piece to the next, as a share of the step."""
LEAST_PIECE = 2
"""Steps of the control in a piece."""
ODDS = {0: 0.6, 1: 0.2, 2: 0.2}
"""Prior probabilities of no change of step (even and smooth share it), of one and of two."""


@dataclass(frozen=True, slots=True)
class Taper:
    """A kind of taper: where its step changes, or that it changes smoothly."""

    changes: tuple[float, ...] = ()
    smooth: bool = False


@dataclass(frozen=True, slots=True)
class Tapers:
    """Kinds of taper as tables on the steps that were read.

    Attributes
    ----------
    kinds : the tapers, `t` of them.
    middle, half : centre and half the length of the column, in steps.
    precision : of the parameters' prior, shape (t, 3); the first, a step, is about the usual one; unused ones have 1.
    log_prior : of each taper with the determinant of its parameters' prior, shape (t,).
    """

    kinds: tuple[Taper, ...]
    middle: float
    half: float
    precision: Floats
    log_prior: Floats
    _smooth: npt.NDArray[np.bool_]
    _changes: Floats

    def level(self, which: npt.NDArray[np.intp], s: Floats) -> Floats:
        """Return the level of each parameter's part of some tapers at some steps, dB per unit; the parts are a last axis of 3."""
        along = (s - self.middle) / self.half
        smooth = self._smooth[which]
        first, second = self._changes[which, 0], self._changes[which, 1]
        parts = (
            np.where(smooth, self.half * along**2 / 2, np.maximum(s - first, 0)),
            np.where(smooth, self.half * along**3 / 3, np.maximum(s - second, 0)),
        )
        return np.stack([np.broadcast_to(s - self.middle, parts[0].shape), *parts], axis=-1)

    def rise(self, which: npt.NDArray[np.intp], s: Floats) -> Floats:
        """Return the rise per step of each parameter's part, as `level` does; at a change, that of the step below."""
        along = (s - self.middle) / self.half
        smooth = self._smooth[which]
        first, second = self._changes[which, 0], self._changes[which, 1]
        parts = np.where(smooth, along, s > first), np.where(smooth, along**2, s > second)
        return np.stack([np.ones(parts[0].shape), *parts], axis=-1)


def tapers_of(kinds: Iterable[Taper], s: Floats, usual_db: float) -> Tapers:
    """Return tables of some tapers on the steps that were read, with a usual step of `usual_db` dB."""
    kept = tuple(kinds)
    precision = np.ones((len(kept), PARAMETERS))
    precision[:, 0] = usual_db**-2.0
    changes = np.full((len(kept), 2), np.inf)
    counts = [len(_places(s)), len(_pairs(_places(s), s))]
    prior = np.empty(len(kept))
    for row, kind in enumerate(kept):
        shares = CURVED_SHARE if kind.smooth else (PIECE_SHARE,) * len(kind.changes)
        precision[row, 1 : 1 + len(shares)] = [(share * usual_db) ** -2.0 for share in shares]
        changes[row, : len(kind.changes)] = kind.changes
        share = ODDS[len(kind.changes)]
        prior[row] = math.log(share / 2 if not kind.changes else share / max(1, counts[len(kind.changes) - 1]))
    prior += 0.5 * np.sum(np.log(precision[:, 1:]), axis=1)
    low, high = float(np.min(s)), float(np.max(s))
    smooth = np.array([kind.smooth for kind in kept])
    return Tapers(kept, 0.5 * (low + high), max(0.5 * (high - low), 0.5), precision, prior, smooth, changes)


def _places(s: Floats) -> list[float]:
    different = np.unique(s)
    return [float(k) for k in different[2:-2]]


def _pairs(places: Sequence[float], s: Floats) -> list[tuple[float, float]]:
    gap = LEAST_PIECE * (float(np.median(np.diff(np.unique(s)))) if len(s) > 1 else 1.0)
    return [(a, b) for i, a in enumerate(places) for b in places[i + 1 :] if b - a >= gap]


def without_change() -> list[Taper]:
    """Return the tapers whose step doesn't change at one place: even and smooth."""
    return [Taper(), Taper(smooth=True)]


def one_change(s: Floats, *, every: int = 1) -> list[Taper]:
    """Return the tapers with one change of step, at each reading, or each `every`-th."""
    return [Taper((place,)) for place in _places(s)[::every]]


def two_changes(places: Sequence[float], s: Floats) -> list[Taper]:
    """Return the tapers with two changes of step at some places that are far enough apart."""
    return [Taper(pair) for pair in _pairs(sorted(set(places)), s)]


def bends(s: Floats, y: Floats, *, most: int) -> list[float]:
    """Return places apart at which the readings' own rise per step changes most, three readings on either side."""
    found: list[tuple[float, float]] = []
    for i in range(2, len(s) - 2):
        before, after = slice(max(0, i - 3), i + 1), slice(i, i + 4)
        if s[i] > s[before][0] and s[after][-1] > s[i]:
            rise = (y[i] - y[before][0]) / (s[i] - s[before][0])
            found.append((abs((y[after][-1] - y[i]) / (s[after][-1] - s[i]) - rise), float(s[i])))
    chosen: list[float] = []
    near = 1.5 * float(np.median(np.diff(s))) if len(s) > 1 else 0.0
    for _, place in sorted(found, reverse=True):
        if len(chosen) < most and all(abs(place - other) > near for other in chosen):
            chosen.append(place)
    return chosen
