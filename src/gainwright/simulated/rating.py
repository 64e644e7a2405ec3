"""Ratings: the ceiling under a power rating at 1 % THD, from clipped samples, and the load a job declares."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gainwright.model import Speaker

USUAL_OHM = 4.0
"""A speaker's nominal impedance where the job gives none (common practice, no published source)."""


def _one_percent() -> float:
    """Return the rms of a sine clipped to 1 % THD over that of the sine that just reaches the ceiling."""
    sine = np.sin(2 * np.pi * (np.arange(65536) + 0.5) / 65536)
    low, high = 1.0, 1.2
    for _ in range(60):
        middle = 0.5 * (low + high)
        cut = np.clip(middle * sine, -1, 1)
        first = 2 * float(np.mean(cut * sine))
        thd = math.sqrt(max(2 * float(np.mean(cut * cut)) / first**2 - 1, 0.0))
        low, high = (middle, high) if thd < 0.01 else (low, middle)
    return math.sqrt(2 * float(np.mean(np.clip(low * sine, -1, 1) ** 2)))


CLIPPED_TO_ONE_PERCENT = _one_percent()


def declared_ohm(speaker: Speaker) -> float:
    """Return the nominal impedance that a job declares for a speaker on one side, ohm."""
    coils = speaker.coils
    each = coils.each if coils is not None else speaker.impedance
    ohm = each.nominal if each is not None and each.known else USUAL_OHM
    return ohm * speaker.load_factor
