"""Faults that come and go: in an observation they are there or not, whatever they were before."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.causes import NOTHING, Cause
from gainwright.model import WORDED, Check

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.diagnose.ensemble import Ensemble
    from gainwright.model import Entry

    Floats = npt.NDArray[np.float64]

THERE = 0.5
"""Share of the time in which what comes and goes is there (common practice, no published source)."""


def come_and_go(ensemble: Ensemble, entry: Entry) -> tuple[list[int], int]:
    """Return the hypotheses that are there only at times, and the one of a sound chain; none where that doesn't matter.

    It doesn't for what provokes such a fault or is felt of it, nor in an ensemble without a sound chain.
    """
    sound = (Cause(NOTHING, ""),)
    if sound not in ensemble.hypotheses or (isinstance(entry, Check) and entry.check.rpartition(".")[2] in WORDED):
        return [], 0
    rows = [i for i, change in enumerate(ensemble.changes) if change.comes_and_goes]
    return rows, ensemble.hypotheses.index(sound)


def mixed(chance: Floats, rows: list[int], sound: int, *, axis: int = 0) -> Floats:
    """Return chances where those of some hypotheses are mixed with those of a sound chain, by the time that they are there."""
    if not rows:
        return chance
    found = np.moveaxis(np.array(chance), axis, 0)
    found[rows] = THERE * found[rows] + (1 - THERE) * found[sound]
    return np.moveaxis(found, 0, axis)
