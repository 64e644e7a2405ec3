"""Columns of meter readings of a sine driven into a ceiling step by step."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from gainwright.metering import Knee, find_knee
from gainwright.metering.compression_curves import HARD

TURN = 2 * np.pi * (np.arange(2048) + 0.5) / 2048


def waveform(drive: float, sharpness: float) -> np.ndarray:
    """Return one period of a sine driven into a ceiling of 1."""
    x = drive * np.sin(TURN)
    if math.isinf(sharpness):
        return np.clip(x, -1, 1)
    return x / (1 + np.abs(x) ** sharpness) ** (1 / sharpness)


def column(count: int, onset: float, per_step: float, seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """Return a clean column with a hard ceiling of 3.16 V."""
    steps = np.arange(1.0, count + 1)
    volts = np.array(
        [10 ** (10 / 20) * math.sqrt(2) * np.std(waveform(10 ** (per_step * (s - onset) / 20), HARD)) for s in steps]
    )
    return steps, np.round(volts * (1 + 0.001 * np.random.default_rng(seed).normal(size=count)), 3)


def knee(steps: Any, readings: Any, **options: Any) -> Knee:
    """Find the knee of arrays."""
    return find_knee(list(map(float, steps)), list(map(float, readings)), **options)
