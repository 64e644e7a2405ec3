"""Recordings without a measurable noise level."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.errors import RecordingError
from gainwright.metering import NoiseChannel, Recording, measure_noise

RATE_HZ = 48_000


def measured(samples: np.ndarray) -> NoiseChannel:
    """Measure one channel."""
    return measure_noise(Recording(samples[:, None], RATE_HZ))[0]


def white(rms: float, seconds: float = 20.0, seed: int = 1) -> np.ndarray:
    """Return white noise."""
    return np.random.default_rng(seed).normal(0, rms, round(seconds * RATE_HZ))


@pytest.mark.parametrize(
    ("samples", "why"),
    [
        (np.zeros(RATE_HZ), "digital silence"),
        (white(1e-3, 0.2), "noise needs"),
        (np.full(RATE_HZ, 0.1), "digital silence"),
    ],
)
def test_unmeasurable_noise_is_not_invented(samples: np.ndarray, why: str) -> None:
    """No figure is made up."""
    found = measured(samples)
    assert found.noise_dbfs is None
    assert why in found.why_not["noise_dbfs"]


def test_nan_is_refused() -> None:
    """With the project's own error."""
    with pytest.raises(RecordingError):
        measured(np.full(RATE_HZ, np.nan))
