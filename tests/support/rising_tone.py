"""A tone that rises until it clips, as if a knob were turned by hand, and the onset found in it."""

from __future__ import annotations

import numpy as np
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
