"""Recordings without a response, and invalid sweeps."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from gainwright.errors import CallError, RecordingError
from gainwright.metering import (
    IdentifiedPath,
    Response,
    identify_filters,
    sweep_response,
    two_channel_response,
)
from gainwright.signals import Sweep

RATE_HZ = 48_000


SWEEP = Sweep(seconds=4.0)


PLAYED = SWEEP.render()


def measured(samples: np.ndarray) -> tuple[Response, IdentifiedPath]:
    """Return response and path of a recorded sweep."""
    response = sweep_response(samples, PLAYED, rate_hz=RATE_HZ, low_hz=20, high_hz=20_000)
    return response, identify_filters(response)


def test_uncorrelated_channels_are_refused() -> None:
    """And too short ones."""
    a, b = (np.random.default_rng(s).normal(0, 0.1, 5 * RATE_HZ) for s in (1, 2))
    with pytest.raises(RecordingError, match="no signal in common"):
        two_channel_response(a, b, rate_hz=RATE_HZ, low_hz=20, high_hz=20_000)
    with pytest.raises(RecordingError, match="too short"):
        two_channel_response(a[:4800], a[:4800], rate_hz=RATE_HZ, low_hz=20, high_hz=20_000)


@pytest.mark.parametrize("samples", [np.zeros(5 * RATE_HZ), np.random.default_rng(1).normal(0, 0.1, 5 * RATE_HZ)])
def test_recording_without_a_sweep_is_refused(samples: np.ndarray) -> None:
    """Silence and noise."""
    with pytest.raises(RecordingError, match="the sweep is not in it"):
        measured(samples)


@pytest.mark.parametrize(
    "options",
    [
        {"low_hz": 0.5},
        {"low_hz": 100.0, "high_hz": 120.0},
        {"high_hz": 24_000.0},
        {"seconds": 0.1},
        {"level_dbfs": 1.0},
        {"rate_hz": 8000},
    ],
)
def test_invalid_sweeps_are_refused(options: dict[str, Any]) -> None:
    """Each with its bounds."""
    with pytest.raises(CallError):
        Sweep(**options)
