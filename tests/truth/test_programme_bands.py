"""Bands, levels and powers against scipy.signal, numpy.histogram and closed forms, by both implementations of the analysis."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from plain_analysis import WAYS
from programme import RATE_HZ, sine
from scipy import signal

from gainwright.physics import SLOPES_DB_PER_OCTAVE
from gainwright.programme import (
    LEVEL_EDGES,
    POWER_LOW_DBFS,
    POWER_STEP_DB,
    USUAL_BANDS,
    Band,
    Edge,
    TrackStatistics,
    analyse,
    load_kernel,
    merged,
)
from gainwright.programme.compiled import CompiledPair
from gainwright.programme.filter_layout import CHUNK, HISTORY, lay_out

JOB = (
    Band("sub", low_pass=Edge(80.0)),
    Band("woofer", high_pass=Edge(80.0), low_pass=Edge(3200.0)),
    Band("tweeter", high_pass=Edge(3200.0)),
    Band("steep", high_pass=Edge(60.0, slope_db_per_octave=48), low_pass=Edge(500.0, "butterworth", 48)),
    Band("gentle", high_pass=Edge(100.0, "butterworth", 6)),
    Band("even", low_pass=Edge(120.0, "bessel", 24)),
)
"""A two-way front with a subwoofer, and the longest, shortest and third kind of filter."""


def made(seconds: float, channels: int = 2, seed: int = 1, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Return noise that swells, with a tone in it."""
    rng = np.random.default_rng(seed)
    count = round(seconds * rate_hz)
    swell = np.linspace(0.01, 0.3, count)[:, None]
    tone = 0.2 * np.sin(2 * np.pi * 55 * np.arange(count) / rate_hz)[:, None]
    return (rng.normal(0, 1, (count, channels)) * swell + tone).astype(np.float32)


def filtered(band: Band, samples: np.ndarray, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Filter by scipy's own design, made from the words and not from the tree's sections."""
    found = samples.astype(np.float64)
    for edge, kind in ((band.high_pass, "high"), (band.low_pass, "low")):
        if edge is None:
            continue
        order = edge.slope_db_per_octave // 6
        if edge.shape == "linkwitz-riley":
            half = signal.butter(order // 2, edge.corner_hz, kind, fs=rate_hz, output="sos")
            found = signal.sosfilt(half, signal.sosfilt(half, found, axis=0), axis=0)
        elif edge.shape == "butterworth":
            found = signal.sosfilt(signal.butter(order, edge.corner_hz, kind, fs=rate_hz, output="sos"), found, axis=0)
        else:
            sections = signal.bessel(order, edge.corner_hz, kind, norm="mag", fs=rate_hz, output="sos")
            found = signal.sosfilt(sections, found, axis=0)
    return np.asarray(found)


def heard(
    samples: np.ndarray, way: str, bands: tuple[Band, ...] = USUAL_BANDS, rate_hz: int = RATE_HZ
) -> TrackStatistics:
    """Analyse samples."""
    return analyse([samples], rate_hz=rate_hz, channels=samples.shape[1], bands=bands, pair=WAYS[way])


@pytest.mark.parametrize("bands", [USUAL_BANDS, JOB, (JOB[1],)], ids=["usual", "job", "one"])
def test_the_kernel_s_filters_are_scipy_s_to_a_millionth(bands: tuple[Band, ...]) -> None:
    """Every sample of every band of a chunk, for each shape of filter and each arrangement of lanes."""
    samples = made(CHUNK / RATE_HZ, seed=5)
    pair = CompiledPair(load_kernel(), bands, RATE_HZ)
    pair.frames()[:CHUNK] = samples
    pair.feed(CHUNK, last=False)
    for band, at in zip(bands, lay_out(bands, RATE_HZ).signals, strict=True):
        if at:
            found = pair._buffers[at, 2 * HISTORY : 2 * (CHUNK + HISTORY)].reshape(-1, 2)
            assert found == pytest.approx(filtered(band, samples), abs=1e-6), band.name


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("rate_hz", [8000, 11_025, 44_100, 96_000])
@pytest.mark.parametrize("bands", [USUAL_BANDS, JOB], ids=["usual", "job"])
def test_every_figure_is_that_of_scipy_and_numpy(way: str, rate_hz: int, bands: tuple[Band, ...]) -> None:
    """Levels counted exactly, rms to 1e-9, peak to single precision, powers window by window."""
    samples = made(2.35, rate_hz=rate_hz)
    found = heard(samples, way, bands, rate_hz)
    for band, part in zip(bands, found.bands, strict=True):
        exact = filtered(band, samples, rate_hz) if band.high_pass or band.low_pass else samples.astype(np.float64)
        single = abs(exact.astype(np.float32)).clip(LEVEL_EDGES[0], np.nextafter(LEVEL_EDGES[-1], 0))
        levels = np.histogram(single, bins=LEVEL_EDGES)[0]
        assert abs(levels - part.levels).sum() <= 4  # a sample within 1e-11 of an edge may lie on either side
        assert part.mean_square == pytest.approx((exact**2).mean(), rel=1e-9)
        assert part.peak == pytest.approx(abs(exact).max(), rel=1e-6)
        assert part.dc == pytest.approx(max(exact.mean(axis=0), key=abs), abs=1e-9)
        ends = np.arange(24) * rate_hz // 10
        short = [(exact[a:b] ** 2).mean(axis=0).max() for a, b in itertools.pairwise(ends)]
        second = [(exact[a:b] ** 2).mean(axis=0).max() for a, b in zip(ends[:-10], ends[10:], strict=True)]
        for counts, powers in ((part.power_100ms, short), (part.power_1s, second)):
            places = np.floor((10 * np.log10(2 * np.array(powers)) - POWER_LOW_DBFS) / POWER_STEP_DB).astype(int)
            assert (counts == np.bincount(np.clip(places, 0, len(counts) - 1), minlength=len(counts))).all()
        assert part.worst_1s == pytest.approx(max(second), rel=1e-9)


def test_both_implementations_give_the_same_numbers() -> None:
    """The kernel and its numpy counterpart agree to 1e-9 in everything, over many blocks, with clipping and eight channels."""
    samples = np.clip(made(3.0, channels=7) * 4, -1, 1)
    one, other = (heard(samples, way, USUAL_BANDS + JOB) for way in WAYS)
    for name in ("lufs", "momentary_lufs", "short_term_lufs", "true_peak"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-9)
    for mine, twin in zip(one.bands, other.bands, strict=True):
        for name in ("peak", "true_peak", "energy", "worst_1s"):
            assert getattr(mine, name) == pytest.approx(getattr(twin, name), rel=1e-9), (mine.name, name)
        assert mine.dc == pytest.approx(twin.dc, abs=1e-10)
        assert mine.clipped == twin.clipped
        assert abs(mine.levels - twin.levels).sum() <= 4
        assert (mine.power_100ms == twin.power_100ms).all()
    assert one.band("full").clipped > 1000


@pytest.mark.parametrize("way", WAYS)
def test_sine_matches_its_closed_form(way: str) -> None:
    """Full-scale sine: 0 dBFS rms, crest 3.01 dB, and 2/pi arcsin(a) of the time below a."""
    found = heard(np.repeat(sine(0, 4, 997)[:, None], 2, axis=1), way).band("full")
    assert found.rms_dbfs == pytest.approx(0, abs=1e-3)
    assert found.crest_db == pytest.approx(3.0103, abs=1e-3)
    assert found.worst_1s_dbfs == pytest.approx(0, abs=1e-3)
    under = np.cumsum(found.levels) / found.samples
    for amplitude in (0.25, 0.5, 0.75):
        at = int(np.searchsorted(LEVEL_EDGES, amplitude)) - 1
        assert under[at] == pytest.approx(2 / math.pi * math.asin(amplitude), abs=2e-4)


@pytest.mark.parametrize(("hz", "loss_db"), [(40, 0.5266), (80, 6.0206), (160, 24.6090)])
def test_low_pass_has_the_closed_form_loss(hz: float, loss_db: float) -> None:
    """20 lg(1 + (f/fc)^4) at 80 Hz; the bilinear transform at 48 kHz departs by less than 0.01 dB here."""
    smooth = sine(-6, 20, hz) * np.hanning(20 * RATE_HZ)  # a sudden start would pass the filter
    found = heard(np.repeat(smooth[:, None], 2, axis=1), "compiled")
    assert found.band("full").rms_dbfs - found.band("sub").rms_dbfs == pytest.approx(loss_db, abs=0.01)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("channels", range(1, 9))
def test_channels_count_equally(way: str, channels: int) -> None:
    """Peak of any, mean over all, power of the loudest; an odd channel is not joined by a silent one."""
    rng = np.random.default_rng(channels)
    samples = (rng.normal(0, 0.05, (RATE_HZ, channels)) * np.arange(1, channels + 1)).astype(np.float32)
    found = heard(samples, way).band("full")
    assert found.samples == samples.size
    assert found.levels.sum() == samples.size
    assert found.mean_square == pytest.approx((samples.astype(float) ** 2).mean(), rel=1e-9)
    assert found.worst_1s == pytest.approx((samples.astype(float) ** 2).mean(axis=0).max(), rel=1e-9)


def test_parts_of_a_list_are_merged() -> None:
    """Merged statistics are those of both samples together."""
    one, other = made(1, seed=2), made(1, seed=3) * 2
    both = merged(heard(one, "compiled").bands[0], heard(other, "compiled").bands[0])
    together = np.concatenate([one, other]).astype(float)
    assert both.mean_square == pytest.approx((together**2).mean(), rel=1e-9)
    assert both.peak == pytest.approx(abs(together).max())
    assert both.levels.sum() == together.size


@pytest.mark.parametrize(
    ("shape", "slope"), [(shape, slope) for shape, slopes in SLOPES_DB_PER_OCTAVE.items() for slope in slopes]
)
def test_every_section_is_scipy_s(shape: str, slope: int) -> None:
    """The response of each shape and slope, both kinds, low and high in the band, is that of scipy's design."""
    for kind, corner_hz in itertools.product(("low", "high"), (40.0, 3000.0)):
        order = slope // 6
        if shape == "linkwitz-riley":
            design = np.vstack([signal.butter(order // 2, corner_hz, kind, fs=RATE_HZ, output="sos")] * 2)
        elif shape == "butterworth":
            design = signal.butter(order, corner_hz, kind, fs=RATE_HZ, output="sos")
        else:
            design = signal.bessel(order, corner_hz, kind, norm="mag", fs=RATE_HZ, output="sos")
        hz = np.geomspace(5, 0.49 * RATE_HZ, 400)
        wanted = signal.sosfreqz(design, worN=hz, fs=RATE_HZ)[1]
        found = signal.sosfreqz(Edge(corner_hz, shape, slope).sections(kind, RATE_HZ), worN=hz, fs=RATE_HZ)[1]
        assert abs(found - wanted).max() < 1e-8, (kind, corner_hz)
