"""Faults that come and go: in an observation they are there or not, whatever they were before."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.causes import NOTHING, Cause
from gainwright.model import Check, HeardSpeaker

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.diagnose.ensemble import Ensemble
    from gainwright.model import Entry

    Floats = npt.NDArray[np.float64]

THERE = (0.1, 0.9)
"""Share of the time in which what comes and goes is there: seldom, or nearly always; nobody knows beforehand (practice)."""
THERE_TOLD = 0.9
"""Who tells how ordinary music sounds tells it of the time when the fault is there: it's why they ask (practice)."""
FELT = ("moved", "heat", "provoked", "unloaded", "mended")
"""What provokes such a fault, is felt of it, or says what became of it: the chances are of the fault, there or not."""


def come_and_go(ensemble: Ensemble, entry: Entry) -> tuple[list[int], int]:
    """Return the hypotheses that are there only at times, and the one of a sound chain; none where that doesn't matter.

    It doesn't for what provokes such a fault or is felt of it, nor in an ensemble without a sound chain.
    """
    sound = (Cause(NOTHING, ""),)
    provoked = isinstance(entry, Check) and entry.check.rpartition(".")[2] in FELT
    if provoked or sound not in ensemble.hypotheses:
        return [], 0
    rows = [i for i, change in enumerate(ensemble.changes) if change.comes_and_goes]
    return rows, ensemble.hypotheses.index(sound)


def there(ensemble: Ensemble, entry: Entry) -> Floats:
    """Return the chance that what comes and goes is there in an observation, shape (draws,).

    The share of the time is one in each draw, so that many observations with it say that it is there mostly.
    """
    low, high = THERE
    share = np.asarray(low + (high - low) * ensemble.hidden[:, 0])
    told = isinstance(entry, HeardSpeaker) and entry.tone_hz is None and not entry.silence
    return np.full_like(share, THERE_TOLD) if told else share


def mixed(chance: Floats, rows: list[int], sound: int, share: Floats) -> Floats:
    """Return chances where those of some hypotheses are mixed with those of a sound chain, by how often they are there.

    Parameters
    ----------
    chance : shape (hypotheses, draws or 1).
    share : shape (draws,).
    """
    if not rows:
        return chance
    found = np.array(np.broadcast_to(chance, (len(chance), len(share))))
    found[rows] = share * found[rows] + (1 - share) * found[sound]
    return found
