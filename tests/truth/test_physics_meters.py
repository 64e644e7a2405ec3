"""Meter indications against summed waveforms and instrument manuals."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats

from gainwright import physics

T = (np.arange(20000) + 0.5) * 2 * np.pi / 20000


def over_true(wave: np.ndarray) -> float:
    """Return what an average-responding meter shows over the true rms."""
    shown = physics.average_responding_reading(mean_abs=np.mean(np.abs(wave)))
    return float(shown / np.sqrt(np.mean(wave**2)))


def test_average_responding_meters_on_other_waves() -> None:
    """Square +11.07 % and triangle -3.81 % (two instrument manuals print +11.0 and -3.8 %); a sine reads right."""
    triangle = 2 / np.pi * np.arcsin(np.sin(T))
    assert over_true(np.sin(T)) == pytest.approx(1.0, abs=1e-7)
    assert over_true(np.sign(np.sin(T))) == pytest.approx(1.11072, abs=5.1e-6)
    assert over_true(triangle) == pytest.approx(0.961912, abs=1e-6)


def test_average_responding_meters_on_noise() -> None:
    """Gaussian noise reads sqrt(pi)/2 = 0.886227, -1.049 dB; clipped at two sigma 0.90403 (distribution summed)."""
    noise = scipy.stats.norm.ppf((np.arange(200000) + 0.5) / 200000)
    assert over_true(noise) == pytest.approx(0.886227, abs=3e-5)
    assert 20 * np.log10(over_true(noise)) == pytest.approx(-1.049, abs=5.1e-4)
    assert over_true(np.clip(noise, -2, 2)) == pytest.approx(0.90403, abs=1e-5)


@pytest.mark.parametrize(
    ("depth_db", "high_percent"),
    [(0.1, 0.031), (0.5, 0.305), (1, 0.763), (2, 1.761), (3, 2.729), (6, 5.147), (10, 7.338)],
)
def test_average_responding_meters_on_clipped_sines(depth_db: float, high_percent: float) -> None:
    """How much too high a clipped sine reads, by closed form of mean and rms, to 0.001 %; and by summing the wave."""
    drive = 10 ** (depth_db / 20)
    shown = physics.average_responding_reading(mean_abs=physics.clipped_sine_mean_abs(drive=drive))
    found = float(shown / physics.clipped_sine_rms(drive=drive))
    assert 100 * (found - 1) == pytest.approx(high_percent, abs=5.1e-4)
    assert found == pytest.approx(over_true(np.clip(drive * np.sin(T), -1, 1)), abs=1e-6)


def test_average_responding_meters_on_a_third_harmonic() -> None:
    """A third harmonic of 10 % reads +2.821 or -3.813 % by its phase: (1 +- h/3)/sqrt(1 + h^2)."""
    for sign, expected in ((1, 2.821), (-1, -3.813)):
        assert 100 * (over_true(np.sin(T) + sign * 0.1 * np.sin(3 * T)) - 1) == pytest.approx(expected, abs=5.1e-4)


def test_accuracy_of_a_handheld_meter() -> None:
    """+-(1.5 % + 5 digits) of 4000 counts: 28.28 V on the 40 V range +-0.4742 V (0.1444 dB), 2 V on 4 V +-0.035 V."""
    common = {"accuracy_ratio": 0.015, "counts": 5}
    high = float(physics.reading_half_width(reading=28.28, resolution=0.01, **common))
    assert high == pytest.approx(0.4742, abs=1e-9)
    assert 20 * np.log10(1 + high / 28.28) == pytest.approx(0.1444, abs=5.1e-5)
    low = float(physics.reading_half_width(reading=-2.0, resolution=0.001, **common))
    assert low == pytest.approx(0.035, abs=1e-12)


def test_wrong_factor_is_noticed() -> None:
    """The checks can fail: peak scaling (1/sqrt(2) of the peak) reads a square 29 % low, not 11 % high."""
    assert abs(1 / np.sqrt(2) - over_true(np.sign(np.sin(T)))) > 0.3
