"""Recordings in which no onset of clipping can be found."""

from __future__ import annotations

import numpy as np
import pytest
from rising_tone import RATE_HZ, found, rising


@pytest.mark.parametrize(
    ("samples", "says"),
    [
        (np.zeros(RATE_HZ), "loud enough"),
        (rising(ceiling=(9.0, 9.0))[: 14 * RATE_HZ], "stays under"),
        (0.5 * np.sin(2 * np.pi * 997 * np.arange(2 * RATE_HZ) / RATE_HZ), "does not rise"),
        (0.5 * np.sin(2 * np.pi * 15_000 * np.arange(2 * RATE_HZ) / RATE_HZ), "no harmonics"),
        (np.sin(2 * np.pi * 997 * np.arange(RATE_HZ // 10) / RATE_HZ), "long and loud"),
    ],
)
def test_recordings_without_an_onset(samples: np.ndarray, says: str) -> None:
    """The result says why."""
    onset = found(samples)
    assert onset.level_dbfs is None
    assert says in onset.why_not
