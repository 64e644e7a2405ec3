"""Runs at full scale, steps of level, and tracks of any length in blocks of any size."""

from __future__ import annotations

import numpy as np
import pytest
from plain_analysis import WAYS
from programme import RATE_HZ

from gainwright.programme import (
    LEVEL_EDGES,
    LEVELS,
    USUAL_BANDS,
    Band,
    TrackStatistics,
    analyse,
)


def made(seconds: float, channels: int = 2, seed: int = 1, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Return noise that swells, with a tone in it."""
    rng = np.random.default_rng(seed)
    count = round(seconds * rate_hz)
    swell = np.linspace(0.01, 0.3, count)[:, None]
    tone = 0.2 * np.sin(2 * np.pi * 55 * np.arange(count) / rate_hz)[:, None]
    return (rng.normal(0, 1, (count, channels)) * swell + tone).astype(np.float32)


def heard(
    samples: np.ndarray, way: str, bands: tuple[Band, ...] = USUAL_BANDS, rate_hz: int = RATE_HZ
) -> TrackStatistics:
    """Analyse samples."""
    return analyse([samples], rate_hz=rate_hz, channels=samples.shape[1], bands=bands, pair=WAYS[way])


def test_level_steps_are_a_tenth_of_a_decibel_or_less() -> None:
    """The finest question put to the distribution is 0.1 dB."""
    assert len(LEVEL_EDGES) == LEVELS + 1
    assert (20 * np.log10(LEVEL_EDGES[1:] / LEVEL_EDGES[:-1])).max() < 0.1


@pytest.mark.parametrize("way", WAYS)
def test_runs_at_full_scale_are_counted(way: str) -> None:
    """Single samples at full scale are no clipping, two or more in a row are, also across two blocks."""
    samples = np.full((40_000, 1), 0.1, dtype=np.float32)
    samples[100] = 1
    samples[200:202] = 1
    samples[16_382:16_390] = -1
    samples[32_768] = 1
    assert heard(samples, way).band("full").clipped == 10


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("count", [1, 3, 511, 512, 513, 4000, 16_384, 16_385, 32_768])
def test_any_track_length_and_block_size(way: str, count: int) -> None:
    """A track of any length, in blocks of any size, gives the same; a short one is a single window."""
    samples = made(1, seed=9)[:count]
    whole = heard(samples, way)
    rng = np.random.default_rng(count)
    cuts = np.sort(rng.integers(0, count + 1, 7))
    pieces = analyse(np.split(samples, cuts), rate_hz=RATE_HZ, channels=2, pair=WAYS[way])
    for one, other in zip(whole.bands, pieces.bands, strict=True):
        assert one.energy == pytest.approx(other.energy, rel=1e-9)
        assert one.true_peak == pytest.approx(other.true_peak, rel=1e-9)
        assert (one.levels == other.levels).all()
        assert one.levels.sum() == 2 * count
        assert one.power_1s.sum() == 1
        assert one.power_100ms.sum() >= 1
