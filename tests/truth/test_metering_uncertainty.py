"""The 95 % intervals of a measured tone have their stated coverage, by simulation; rounding according to the GUM."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainwright.metering import Recording, measure
from gainwright.report.figures import rounded

RATE_HZ = 48_000
RUNS = 200


def noisy(depth_db: float, snr_db: float, rng: np.random.Generator) -> tuple[np.ndarray, dict[str, float]]:
    """Return a recorded tone of random phase and pitch, and its true frequency, level, THD and depth."""
    hz = rng.uniform(180, 260)
    drive = 10 ** (depth_db / 20)
    angle = 2 * np.pi * (rng.uniform() + hz / RATE_HZ * np.arange(RATE_HZ // 2))
    a = math.asin(min(1.0, 1 / drive))
    orders = range(1, int(20_000 / hz) + 1, 2)
    b = {n: 4 / math.pi * (drive / 2 * (math.sin((n - 1) * a) / (n - 1) - math.sin((n + 1) * a) / (n + 1)) + math.cos(n * a) / n) for n in orders if n > 1}  # fmt: skip
    b[1] = 2 * drive / math.pi * (a + math.sqrt(1 - 1 / drive**2) / drive)
    turn = np.exp(1j * angle)
    power, square, wave = turn, turn * turn, np.zeros(len(angle))
    for n in orders:  # sin(n angle), each from the one before it
        wave += 0.4 * b[n] * power.imag
        power = power * square
    thd = math.sqrt(sum(b[n] ** 2 for n in orders if n > 1)) / b[1]
    noise = rng.normal(0, 0.4 * b[1] / math.sqrt(2) * 10 ** (-snr_db / 20), len(wave))
    true = {
        "frequency_hz": hz,
        "fundamental_dbfs": 20 * math.log10(0.4 * b[1]),
        "thd_percent": 100 * thd,
        "clip_depth_db": depth_db,
    }
    return np.asarray(wave + noise), true


@pytest.mark.parametrize(("depth_db", "snr_db"), [(1.0, 50.0), (3.0, 40.0), (6.0, 60.0)])
def test_intervals_have_their_stated_coverage(depth_db: float, snr_db: float) -> None:
    """Frequency and level in 95 of 100 (IEEE 1057 bounds); THD and depth in at least that many."""
    rng = np.random.default_rng(int(100 * depth_db + snr_db))
    held = dict.fromkeys(("frequency_hz", "fundamental_dbfs", "thd_percent", "clip_depth_db"), 0)
    for _ in range(RUNS):
        samples, true = noisy(depth_db, snr_db, rng)
        channel = measure(Recording(samples[:, None], RATE_HZ)).channels[0]
        for key, value in true.items():
            held[key] += abs(getattr(channel, key) - value) <= channel.within[key]
    assert held["frequency_hz"] >= 0.89 * RUNS
    assert held["fundamental_dbfs"] >= 0.89 * RUNS
    assert held["thd_percent"] >= 0.89 * RUNS
    assert held["clip_depth_db"] >= 0.89 * RUNS


def test_calibration_uncertainty_adds_as_squares() -> None:
    """3 % of calibration with almost no noise is 3 % (JCGM 100:2008, 5.1.2)."""
    wave = 0.5 * np.sin(2 * np.pi * 997 * np.arange(RATE_HZ) / RATE_HZ)
    channel = measure(Recording(wave[:, None], RATE_HZ), calibrate_v=10.0, calibrated_within=0.03).channels[0]
    assert channel.within["volts_percent"] == pytest.approx(3.0, rel=1e-3)


@pytest.mark.parametrize(
    ("value", "half", "text"),
    [
        (10.0572, 0.27, "10.06 ± 0.27"),
        (-6.0206, 0.0123, "-6.021 ± 0.012"),
        (28.28, 4.2, "28.3 ± 4.2"),
        (1234.0, 120.0, "1234 ± 120"),
        (3.0, None, "3"),
        (3.0, 1e-9, "3"),
    ],
)
def test_one_rounded_figure(value: float, half: float | None, text: str) -> None:
    """As the GUM rounds: 10.057 62 with 27 milliohm is 10.058; here two digits of the ± (JCGM 100:2008, 7.2.6)."""
    assert rounded(value, half) == text
