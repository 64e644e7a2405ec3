"""True peaks against EBU Tech 3341 cases 15 to 23, BS.1770-4 Annex 2 and scipy's polyphase filter."""

from __future__ import annotations

import math

import numpy as np
import pytest
from plain_analysis import WAYS
from programme import RATE_HZ, music
from scipy import signal

from gainwright.programme import Band, TrackStatistics, analyse, open_track
from gainwright.programme.interpolation import BOUNDS, LARGEST_GAIN, PHASES

HIGH_DB, LOW_DB = 0.2, 0.4
"""Tech 3341: +0.2/-0.4 dB."""


def heard(samples: np.ndarray, way: str) -> TrackStatistics:
    """Analyse the same samples in two channels."""
    stereo = np.repeat(samples[:, None], 2, axis=1)
    return analyse([stereo], rate_hz=RATE_HZ, channels=2, bands=(Band("full"),), pair=WAYS[way])


def faded(samples: np.ndarray) -> np.ndarray:
    """Fade in and out over 10 ms."""
    count = RATE_HZ // 100
    ramp = np.sin(np.linspace(0, np.pi / 2, count)) ** 2
    samples[:count] *= ramp
    samples[-count:] *= ramp[::-1]
    return samples


CASES = {
    "15": (0.50, 4, 0.0, -6.0, -6.021),
    "16": (0.50, 4, 45.0, -6.0, -9.031),
    "17": (0.50, 6, 60.0, -6.0, -7.270),
    "18": (0.50, 8, 67.5, -6.0, -6.708),
    "19": (1.41, 4, 45.0, 3.0, -0.026),
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("case", CASES)
def test_tech_3341_sines_between_samples(case: str, way: str) -> None:
    """Cases 15 to 19: sines whose peaks lie between samples; the sample peaks are closed forms."""
    peak, divisor, phase_deg, expected, sample_peak = CASES[case]
    angle = 2 * np.pi * np.arange(RATE_HZ) / divisor + np.radians(phase_deg)
    found = heard(faded(peak * np.sin(angle)), way)
    assert expected - LOW_DB <= found.true_peak_dbtp <= expected + HIGH_DB
    assert found.bands[0].peak_dbfs == pytest.approx(sample_peak, abs=0.02)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("offset", range(4))
def test_tech_3341_a_period_between_samples(offset: int, way: str) -> None:
    """Cases 20 to 23: fs/6 at 0.50 with one period of fs/4 at 1.00, made at 4 fs, low-passed and taken apart."""
    quick = 4 * RATE_HZ
    low = 0.5 * np.sin(2 * np.pi * np.arange(24 * 1000) / 24)
    burst = np.sin(2 * np.pi * np.arange(16) / 16)
    made = np.concatenate([low, burst, low])
    taps = signal.firwin(1023, RATE_HZ / 2, fs=quick, window=("kaiser", 8.0))
    found = heard(faded(signal.fftconvolve(made, taps, "same")[offset::4].copy()), way)
    assert -LOW_DB <= found.true_peak_dbtp <= HIGH_DB


def test_the_table_is_the_printed_one() -> None:
    """BS.1770-4 Annex 2: the fourth phase is the first turned round, the third the second; unity gain within 3 %."""
    assert (PHASES[3] == PHASES[0][::-1]).all()
    assert (PHASES[2] == PHASES[1][::-1]).all()
    assert PHASES.sum(axis=1) == pytest.approx(np.ones(4), abs=0.03)
    assert (PHASES * 2**14 % 1 == 0).all()


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("index", [0, 9, 13])
def test_true_peak_of_music_is_scipy_s(index: int, way: str) -> None:
    """Pruning leaves nothing out: scipy.signal.upfirdn with the annex' table finds the same to 1e-9."""
    with open_track(music("hyperrogue-music")[index]) as track:
        samples = np.concatenate([block.copy() for block in track.blocks])[: 40 * track.rate_hz].astype(np.float64)
        found = analyse([samples], rate_hz=track.rate_hz, channels=2, bands=(Band("full"),), pair=WAYS[way])
    taps = PHASES.T.reshape(-1)
    between = abs(signal.upfirdn(taps, samples, up=4, axis=0)).max()
    assert found.bands[0].true_peak == pytest.approx(max(between, abs(samples).max()), rel=1e-9)


def test_bounds_hold_and_are_met() -> None:
    """No row of samples passes the bounds by size and step; the sharpest row meets the bound by size."""
    rng = np.random.default_rng(3)
    rows = rng.uniform(-1, 1, (20_000, 12)) * rng.uniform(0, 1, (20_000, 1))
    rows = np.concatenate([rows, np.cumsum(rows, axis=1), np.sign(rows), np.sign(PHASES)])
    points = abs(rows @ PHASES[:, ::-1].T)
    size, step = abs(rows).max(axis=1), abs(np.diff(rows, axis=1)).max(axis=1)
    by_step = np.max([a * size + b * step for a, b in BOUNDS], axis=0)
    assert (points.max(axis=1) <= np.minimum(by_step, LARGEST_GAIN * size) * (1 + 1e-12)).all()
    assert points.max() / size[points.max(axis=1).argmax()] <= LARGEST_GAIN + 1e-12
    assert abs(np.sign(PHASES) @ PHASES.T).max() == pytest.approx(LARGEST_GAIN)


@pytest.mark.parametrize(("share", "under_db"), [(0.45, 0.554), (0.5, 0.688)])
def test_four_times_may_read_under(share: float, under_db: float) -> None:
    """BS.1770-4 Annex 2: points a quarter of a sample apart miss a peak by at most -20 lg cos(pi f/fs/4)."""
    assert -20 * math.log10(math.cos(math.pi * share / 4)) == pytest.approx(under_db, abs=0.001)
