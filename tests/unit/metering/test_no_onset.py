"""Recordings in which no onset of clipping can be found."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from gainwright.metering import Onset, Recording, find_onset

RATE_HZ, OVER = 48_000, 4


CEILING_DB = -6.0


def rising(
    *,
    hz: float = 1000.0,
    steps: bool = False,
    ceiling: tuple[float, float] = (1.0, 1.0),
    soft: float = 0.0,
    sos: np.ndarray | None = None,
    noise: float = 1e-5,
) -> np.ndarray:
    """Return a tone that rises by 30 dB in 15 s (or in 1 dB steps), cut at -6 dBFS, filtered, as 48 kHz samples."""
    fast = RATE_HZ * OVER
    if steps:
        gain = np.repeat(10 ** (np.arange(-20, 1) / 20), fast)
        time_s = np.arange(len(gain)) / fast
    else:
        time_s = np.arange(15 * fast) / fast
        gain = 10 ** ((-30 + 2 * time_s) / 20)
    top = 10 ** (CEILING_DB / 20)
    wave = gain * np.sin(2 * np.pi * hz * time_s)
    wave = (
        wave / (1 + np.abs(wave / top) ** soft) ** (1 / soft)
        if soft
        else np.clip(wave, -top * ceiling[0], top * ceiling[1])
    )
    if sos is not None:
        wave = signal.sosfilt(sos, wave)
    wave = signal.resample_poly(wave, 1, OVER)
    return np.asarray(wave + np.random.default_rng(1).normal(0, noise, len(wave)))


def found(samples: np.ndarray, **options: object) -> Onset:
    """Find the onset in one channel."""
    return find_onset(Recording(samples[:, None], RATE_HZ), **options)[0]  # type: ignore[arg-type]


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
    """Said why."""
    onset = found(samples)
    assert onset.level_dbfs is None
    assert says in onset.why_not
