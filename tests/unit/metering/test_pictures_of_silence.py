"""Waveform and spectrum of a recording without a tone."""

from __future__ import annotations

import numpy as np

from gainwright.metering import Recording, pictures

RATE_HZ, TONE_HZ = 48_000, 997.0


def recorded(wave: np.ndarray) -> Recording:
    """Return a recording of one channel."""
    return Recording(wave[:, None], RATE_HZ)


def test_silence_has_no_period() -> None:
    """Without a tone there is a spectrum and no waveform."""
    found = pictures(recorded(1e-6 * np.random.default_rng(5).standard_normal(RATE_HZ)))
    assert found.frequency_hz is None
    assert len(found.wave) == 0
    assert found.harmonics == ()
