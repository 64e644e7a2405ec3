"""True peaks against EBU Tech 3341 cases 15 to 23, BS.1770-4 Annex 2 and scipy's polyphase filter."""

from __future__ import annotations

import math

import numpy as np
import pytest
from plain_analysis import WAYS
from programme import RATE_HZ, music
from scipy import signal

from gainwright.programme import Band, TrackStatistics, analyse, open_track
from gainwright.programme.true_peak import BOUNDS, LARGEST_GAIN, PHASES

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
    """Cases 20 to 23: fs/6 at 0.50 with one period of fs/4 at 1.00, made at 4 fs, low-passed and decimated."""
    quick = 4 * RATE_HZ
    low = 0.5 * np.sin(2 * np.pi * np.arange(24 * 1000) / 24)
    burst = np.sin(2 * np.pi * np.arange(16) / 16)
    made = np.concatenate([low, burst, low])
    taps = signal.firwin(1023, RATE_HZ / 2, fs=quick, window=("kaiser", 8.0))
    found = heard(faded(signal.fftconvolve(made, taps, "same")[offset::4].copy()), way)
    assert -LOW_DB <= found.true_peak_dbtp <= HIGH_DB


PRINTED = np.array(
    [
        [0.0017089843750, -0.0291748046875, -0.0189208984375, -0.0083007812500],
        [0.0109863281250, 0.0292968750000, 0.0330810546875, 0.0148925781250],
        [-0.0196533203125, -0.0517578125000, -0.0582275390625, -0.0266113281250],
        [0.0332031250000, 0.0891113281250, 0.1015625000000, 0.0476074218750],
        [-0.0594482421875, -0.1665039062500, -0.2003173828125, -0.1022949218750],
        [0.1373291015625, 0.4650878906250, 0.7797851562500, 0.9721679687500],
        [0.9721679687500, 0.7797851562500, 0.4650878906250, 0.1373291015625],
        [-0.1022949218750, -0.2003173828125, -0.1665039062500, -0.0594482421875],
        [0.0476074218750, 0.1015625000000, 0.0891113281250, 0.0332031250000],
        [-0.0266113281250, -0.0582275390625, -0.0517578125000, -0.0196533203125],
        [0.0148925781250, 0.0330810546875, 0.0292968750000, 0.0109863281250],
        [-0.0083007812500, -0.0189208984375, -0.0291748046875, 0.0017089843750],
    ]
)
"""BS.1770-5 Annex 2 (as in -4): rows and columns as printed; five public transcriptions agree in every figure."""


def test_the_table_is_the_printed_one() -> None:
    """All 48 coefficients are those of BS.1770-4 Annex 2, one column per phase."""
    assert (PHASES == PRINTED.T).all()


@pytest.mark.parametrize("way", WAYS)
def test_single_sample_gives_the_printed_table(way: str) -> None:
    """One full-scale sample in silence has its maximum at the largest coefficient; two of opposite sign at their difference."""
    for shape in (np.array([0.5]), np.array([0.5, 0.5]), np.array([0.5, -0.5, 0.25])):
        samples = np.zeros(4800)
        samples[2000 : 2000 + len(shape)] = shape
        between = max(float(np.abs(np.convolve(column, shape)).max()) for column in PRINTED.T)
        expected = max(between, float(np.abs(shape).max()))
        assert heard(samples, way).bands[0].true_peak == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("index", [0, 9, 13])
def test_true_peak_of_music_is_scipy_s(index: int, way: str) -> None:
    """Pruning misses nothing: scipy.signal.upfirdn with the annex's table finds the same to 1e-9."""
    with open_track(music("hyperrogue-music")[index]) as track:
        samples = np.concatenate([block.copy() for block in track.blocks])[: 40 * track.rate_hz].astype(np.float64)
        found = analyse([samples], rate_hz=track.rate_hz, channels=2, bands=(Band("full"),), pair=WAYS[way])
    taps = PRINTED.reshape(-1)
    between = abs(signal.upfirdn(taps, samples, up=4, axis=0)).max()
    assert found.bands[0].true_peak == pytest.approx(max(between, abs(samples).max()), rel=1e-9)


def test_bounds_hold_and_are_met() -> None:
    """No row of samples exceeds the bounds by size and step with the printed table; its sharpest row meets the one by size."""
    rng = np.random.default_rng(3)
    rows = rng.uniform(-1, 1, (20_000, 12)) * rng.uniform(0, 1, (20_000, 1))
    rows = np.concatenate([rows, np.cumsum(rows, axis=1), np.sign(rows), np.sign(PRINTED.T)])
    points = abs(rows @ PRINTED[::-1])
    size, step = abs(rows).max(axis=1), abs(np.diff(rows, axis=1)).max(axis=1)
    by_step = np.max([a * size + b * step for a, b in BOUNDS], axis=0)
    assert (points.max(axis=1) <= np.minimum(by_step, LARGEST_GAIN * size) * (1 + 1e-12)).all()
    assert abs(PRINTED).sum(axis=0).max() == pytest.approx(LARGEST_GAIN, rel=1e-12)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize(("period", "under_db"), [(4, 0.1685), (3, 0.3011)])
def test_four_times_oversampling_reads_low_as_the_standard_says(period: int, under_db: float, way: str) -> None:
    """BS.1770-4 Annex 2: a peak midway between points a quarter of a sample apart is missed by -20 lg cos(pi f/fs/4).

    The sine's peaks lie a quarter of a sample from its samples, midway between two of the table's points, which stand at
    odd eighths. The table's own passband at this frequency (its Fourier transform) is allowed for, and 0.01 dB for
    its delays, which aren't quite eighths. Without points between, the reading would be 0.69 and 1.25 dB under.
    """
    turn = 2 * np.pi / period
    assert -20 * math.log10(math.cos(math.pi / period / 4)) == pytest.approx(under_db, abs=5.1e-5)
    passband_db = 20 * np.log10(np.abs(np.exp(-1j * turn * np.arange(12)) @ PRINTED))
    found = heard(faded(0.5 * np.cos(turn * (np.arange(RATE_HZ) - 0.25))), way)
    reading_db = found.true_peak_dbtp - 20 * math.log10(0.5)
    assert -under_db + passband_db.min() - 0.01 <= reading_db <= -under_db + passband_db.max() + 0.01
