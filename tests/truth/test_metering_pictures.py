"""Waveform and spectrum of a recording against its ingredients: the clipped sine's Fourier series, a sine's own level."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainwright.metering import Recording, pictures

RATE_HZ, TONE_HZ = 48_000, 997.0
PEAK, CEILING = 0.6, 0.4


def recorded(wave: np.ndarray) -> Recording:
    """Return a recording of one channel."""
    return Recording(wave[:, None], RATE_HZ)


def clipped_sine() -> np.ndarray:
    """Return two seconds of a sine clipped at `CEILING`, band-limited by its Fourier series, with a little noise."""
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    wave = sum(amplitude(n) * np.sin(2 * np.pi * n * TONE_HZ * time_s) for n in range(1, 24, 2))
    return np.asarray(wave + 1e-5 * np.random.default_rng(4).standard_normal(len(time_s)))


def amplitude(n: int) -> float:
    """Return the n-th Fourier coefficient of a sine of peak `PEAK` clipped at `CEILING`, by quadrature of its definition."""
    angle = (np.arange(20_000) + 0.5) * (2 * np.pi / 20_000)
    wave = np.clip(PEAK * np.sin(angle), -CEILING, CEILING)
    return float(2 * np.mean(wave * np.sin(n * angle)))


def test_the_wave_is_the_clipped_sine() -> None:
    """Each point of the period is that of the band-limited wave, and the ceilings are where it clips, within the ripple there."""
    found = pictures(recorded(clipped_sine()))
    assert found.frequency_hz == pytest.approx(TONE_HZ, rel=1e-5)
    expected = sum(amplitude(n) * np.sin(2 * np.pi * n * found.phase) for n in range(1, 24, 2))
    assert np.max(np.abs(found.wave - expected)) < 0.004
    assert found.upper == pytest.approx(CEILING, rel=0.02)
    assert found.lower == pytest.approx(-CEILING, rel=0.02)


def test_the_harmonics_are_those_of_the_fourier_series() -> None:
    """Order, frequency and dBFS of the first harmonics (0 dBFS is a full-scale sine, AES17)."""
    found = {order: (hz, dbfs) for order, hz, dbfs in pictures(recorded(clipped_sine())).harmonics}
    for n in (3, 5):
        hz, dbfs = found[n]
        assert hz == pytest.approx(n * TONE_HZ, rel=1e-5)
        assert dbfs == pytest.approx(20 * math.log10(abs(amplitude(n))), abs=0.1)


@pytest.mark.parametrize("level_dbfs", [-1.0, -20.0, -60.0])
def test_the_spectrum_shows_a_sine_at_its_level(level_dbfs: float) -> None:
    """The peak of the spectrum shown is the sine's level, within the window's scalloping (0.83 dB, Harris 1978, table 1)."""
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    found = pictures(recorded(10 ** (level_dbfs / 20) * np.sin(2 * np.pi * TONE_HZ * time_s)))
    top = int(np.argmax(found.spectrum_dbfs))
    assert -0.85 <= found.spectrum_dbfs[top] - level_dbfs <= 0.05
    assert found.spectrum_hz[top] == pytest.approx(TONE_HZ, rel=0.012)
    assert found.upper is None
    assert found.lower is None
