"""What an allowance costs, against clipping the samples themselves and against closed forms.

Outside values: the samples, clipped by numpy one by one; a sine above a ceiling (arc length, and the Fourier integrals
over the tops that are cut); Gaussian noise (share erfc(c / sigma sqrt 2), and the integrals of its tail, Bennett 1948).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile
from programme import music
from programme_made import band_of, part_of
from scipy import signal

from gainwright.programme import analyse_file
from gainwright.programme.allowance import ALLOWANCES_DB, Limits, SpeakerLoad, evaluate_allowances
from gainwright.programme.hard_clipping import clipping_at

CEILINGS = 10 ** (-ALLOWANCES_DB / 20)
RARE, TYPICAL = 0.006, 0.0003
"""Of the clipped share, where more than one sample in a thousand is clipped: any ceiling, and the middle of all. A step holds
about 0.05 dB of levels, and only the samples of one step, unevenly spread in it, can differ; of the few samples of
rarer clipping the bounds are stated."""
PRODUCTS_DB = 0.03


def _noise(seed: int = 1, sigma: float = 0.15) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, sigma, 4_000_000)


def _clipped(samples: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return of the samples, clipped one by one at each ceiling: the share over it, the mean square over it, and that of what is left."""
    size = np.sort(np.abs(samples).ravel())
    count, square = size.size, float(np.sum(size**2))
    found = np.zeros((3, CEILINGS.size))
    for i, c in enumerate(CEILINGS):
        above = size[np.searchsorted(size, c, side="right") :]
        found[:, i] = above.size, np.sum((above - c) ** 2), square - np.sum(above**2) + above.size * c * c
    share, over, left = found / count
    return share, over, left


def test_clipped_sine_matches_its_closed_form() -> None:
    """A full-scale sine over a ceiling c: share 1 - 2 asin(c)/pi, and the mean of (sin - c)^2 over its peaks."""
    x = np.sin(2 * np.pi * (np.arange(1_000_003) + 0.5) / 1_000_003)
    found = clipping_at(band_of(x), CEILINGS[1:])
    c = CEILINGS[1:]
    angle = np.arcsin(c)
    quarter = np.pi / 2 - angle
    share = quarter / (np.pi / 2)
    above = (quarter / 2 + np.sin(2 * angle) / 4 - 2 * c * np.cos(angle) + c * c * quarter) / (np.pi / 2)
    left = 0.5 - ((quarter / 2 + np.sin(2 * angle) / 4) - c * c * quarter) / (np.pi / 2)
    assert found.share == pytest.approx(share, rel=2e-3)
    off = np.abs(10 * np.log10(found.products / above))
    assert (
        off[0] < 2 * PRODUCTS_DB
    )  # 0.5 dB under the peak, where a sine's levels crowd most and only eight steps are left
    assert np.all(off[1:] < PRODUCTS_DB)
    assert found.power == pytest.approx(left, rel=1e-4)


def test_a_quiet_sine_gains_what_is_allowed_and_a_loud_one_less() -> None:
    """Level gained, crest, mean and worst second of sines, in closed form.

    A sine of -L dBFS, of crest 20 lg sqrt 2: up to an allowance of L it gains the whole allowance and has A - L dB re a tone
    at the ceiling. A full-scale one gains A + 10 lg of what a ceiling c leaves over what there was; its worst second is
    bounded by the ceiling itself, a square wave's 3 dB over a sine.
    """
    time = np.arange(480_000) / 48_000
    quiet = evaluate_allowances(
        [part_of("quiet", 10 ** (-12 / 20) * np.sin(2 * np.pi * 997 * time))], drive=SpeakerLoad("s", 100.0, None)
    )
    assert quiet.crest_db == pytest.approx(20 * math.log10(math.sqrt(2)), abs=1e-3)
    for row in quiet.rows:
        if row.db < 12:
            assert row.gained_db == pytest.approx(row.db, abs=1e-6)
            assert row.mean_power_db == pytest.approx(row.db - 12, abs=1e-3)
            assert row.worst_1s_power_db == pytest.approx(row.db - 12, abs=1e-3)
            assert row.mean_power_w == pytest.approx(100 * 10 ** ((row.db - 12) / 10), rel=1e-3)
            assert row.worst_1s_power_w == pytest.approx(100 * 10 ** ((row.db - 12) / 10), rel=1e-3)
    loud = evaluate_allowances([part_of("loud", np.sin(2 * np.pi * 997 * time))])
    for row in loud.rows[1:]:
        c = 10 ** (-row.db / 20)
        angle = math.asin(c)
        # mean of min(sin^2, c^2) over a quarter: the integral of sin^2 up to the angle, c^2 from there
        left = ((angle - c * math.sqrt(1 - c * c)) / 2 + c * c * (math.pi / 2 - angle)) / (math.pi / 2)
        assert row.gained_db == pytest.approx(row.db + 10 * math.log10(left / 0.5), abs=2e-3)
        assert row.worst_1s_power_db == pytest.approx(min(row.db, 10 * math.log10(2)), abs=1e-3)


def test_clipped_noise_matches_its_closed_form() -> None:
    """Gaussian noise: share erfc(c / (sigma sqrt 2)), products 2 [(sigma^2 + c^2) Q - c sigma phi]; 3 standard errors."""
    sigma, n = 0.2, 4_000_000
    x = _noise(seed=7, sigma=sigma)
    c = np.array([c for c in CEILINGS if 0.5 * sigma < c < 2.3 * sigma])
    found = clipping_at(band_of(x), c)
    share = np.array([math.erfc(v / (sigma * math.sqrt(2))) for v in c])
    phi = np.exp(-((c / sigma) ** 2) / 2) / math.sqrt(2 * math.pi)
    products = share * (sigma**2 + c**2) - 2 * c * sigma * phi
    assert np.all(np.abs(found.share - share) < 3 * np.sqrt(share * (1 - share) / n) + TYPICAL * share)
    assert 10 * np.log10(found.products / products) == pytest.approx(np.zeros(c.size), abs=0.05)


@pytest.mark.parametrize("kind", ["noise", "beats", "dense", "eight bits"])
def test_clipping_the_samples_themselves_gives_the_same(kind: str) -> None:
    """Share, products and power from the distribution are those of the clipped samples, within the stated bounds."""
    time = np.arange(3_000_000) / 48_000
    x = _noise()
    if kind == "beats":
        beat = 0.5 * np.sin(2 * np.pi * 41.3 * time) * np.sin(2 * np.pi * 0.07 * time) ** 3
        x = beat + 0.3 * x[: beat.size]
    elif kind == "dense":
        x = np.tanh(6 * x)
    elif kind == "eight bits":
        x = np.round(x * 128) / 128
    x = x.astype(np.float32).astype(np.float64)
    found = clipping_at(band_of(x), CEILINGS)
    share, over, left = _clipped(x)
    assert np.all((found.share_low <= share + 1e-12) & (share <= found.share_high + 1e-12))
    assert np.all((found.products_low <= over + 1e-12) & (over <= found.products_high + 1e-12))
    if kind == "eight bits":  # its levels stand in the middle of nothing: only the bounds are stated
        return
    assert found.power == pytest.approx(left, rel=1e-4)
    typical = share > 1e-3
    assert typical.sum() > 5
    assert np.all(np.abs(found.share[typical] / share[typical] - 1) < RARE)
    assert np.median(np.abs(found.share[typical] / share[typical] - 1)) < TYPICAL
    assert np.all(np.abs(10 * np.log10(found.products[typical] / over[typical])) < PRODUCTS_DB)


def test_the_clipped_list_is_the_tracks_one_after_the_other() -> None:
    """A list weighted by play time has the statistics of its samples joined end to end."""
    one, two = 0.3 * _noise(2)[:1_000_000], 0.9 * _noise(3)[:3_000_000]
    found = evaluate_allowances([part_of("one", one), part_of("two", two)])
    both = np.concatenate([one, two])
    together = evaluate_allowances([part_of("both", both)])
    for a, b in zip(found.rows, together.rows, strict=True):
        assert a.clipped_time_percent == pytest.approx(
            b.clipped_time_percent, rel=1e-5
        )  # the highest step of each ends at its own peak
        assert a.mean_power_db == pytest.approx(b.mean_power_db, abs=1e-5)
        assert (a.distortion_power_db is None) == (b.distortion_power_db is None)
        if a.distortion_power_db is not None:
            assert a.distortion_power_db == pytest.approx(b.distortion_power_db, abs=1e-4)
    size = np.abs(both.astype(np.float32).astype(np.float64))
    row = found.row(found.choice.db)
    assert 100 * np.mean(size > 10 ** (-row.db / 20)) <= Limits().clipped_time_percent
    more = 10 ** (-(row.db + 0.5) / 20)
    products = 10 * np.log10(np.mean(np.maximum(size - more, 0) ** 2) / np.mean(size**2))
    assert 100 * np.mean(size > more) > Limits().clipped_time_percent or products > Limits().distortion_power_db


def test_real_music_clipped_sample_by_sample() -> None:
    """A decoded track, whole and split by scipy's filters, clipped by numpy, against its distributions."""
    real = music("hyperrogue-music")[8]
    samples, rate_hz = soundfile.read(real, dtype="float64", always_2d=True)
    half = signal.butter(2, 80, "low", fs=rate_hz, output="sos")
    split = signal.sosfilt(np.vstack([half, half]), samples, axis=0)
    statistics = analyse_file(real)
    assert statistics is not None
    for name, band in (("full", samples), ("sub", split)):
        found = clipping_at(statistics.band(name), CEILINGS)
        for i, (share, over, left) in enumerate(zip(*_clipped(band), strict=True)):
            if share > 1e-3:
                assert found.share[i] == pytest.approx(share, rel=RARE)
                assert abs(10 * math.log10(found.products[i] / over)) < PRODUCTS_DB
            assert found.share_low[i] - 1e-6 <= share <= found.share_high[i] + 1e-6
            assert found.power[i] == pytest.approx(left, rel=2e-4)
