"""Responses, filters, polarity, delay and match against filters made by scipy, closed forms and sox."""

from __future__ import annotations

import functools
import math
import subprocess
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

from gainwright.metering import (
    IdentifiedPath,
    Response,
    compare_paths,
    identify_filters,
    read_recording,
    sweep_response,
    two_channel_response,
)
from gainwright.signals import Sweep

RATE_HZ = 48_000
SWEEP = Sweep(seconds=4.0)
PLAYED = SWEEP.render()
Named = tuple[str, str, int, float]


def analogue(filters: list[Named], hz: np.ndarray) -> np.ndarray:
    """Return the response of analogue filters by scipy.signal."""
    total = np.ones(len(hz), dtype=complex)
    for kind, shape, slope, corner in filters:
        order, w = slope // 6, 2 * np.pi * corner
        if shape == "bessel":
            b, a = signal.bessel(order, w, kind, analog=True, norm="mag")
        else:
            b, a = signal.butter(order // 2 if shape == "linkwitz-riley" else order, w, kind, analog=True)
        h = signal.freqs(b, a, 2 * np.pi * np.maximum(hz, 1e-3))[1]
        total *= h**2 if shape == "linkwitz-riley" else h
    return total


@functools.cache
def spectrum_of_played(size: int) -> np.ndarray:
    """Return the spectrum of the sweep with zeros after it; most recordings are of the same one."""
    return np.fft.rfft(PLAYED, size)


def recorded(
    filters: list[Named],
    *,
    delay_s: float = 0.0,
    gain: float = 1.0,
    noise: float = 1e-4,
    seed: int = 1,
    played: np.ndarray = PLAYED,
) -> np.ndarray:
    """Return what a recorder takes of a signal through analogue filters, a delay and a gain, with noise."""
    size = 1 << int(np.ceil(np.log2(len(played) + 9600)))
    hz = np.fft.rfftfreq(size, 1 / RATE_HZ)
    h = analogue(filters, hz) * np.exp(-2j * np.pi * hz * delay_s) * gain
    spectrum = spectrum_of_played(size) if played is PLAYED else np.fft.rfft(played, size)
    wave = np.fft.irfft(spectrum * h, size)[: len(played) + 4800]
    return np.asarray(wave + np.random.default_rng(seed).normal(0, noise, len(wave)))


def measured(samples: np.ndarray) -> tuple[Response, IdentifiedPath]:
    """Return response and path of a recorded sweep."""
    response = sweep_response(samples, PLAYED, rate_hz=RATE_HZ, low_hz=20, high_hz=20_000)
    return response, identify_filters(response)


ORDERS = {"butterworth": (6, 12, 18, 24, 36, 48), "bessel": (12, 18, 24, 36, 48), "linkwitz-riley": (12, 24, 36, 48)}


@pytest.mark.parametrize("kind", ["low", "high"])
def test_filters_are_identified_blind(kind: str) -> None:
    """Shape and order right in 40 of 40 (99 % required), corner within 1 % and inside its interval, polarity and delay right."""
    rng = np.random.default_rng(4 if kind == "low" else 5)
    held = timed = 0
    for i in range(40):
        shape = str(rng.choice(list(ORDERS)))
        slope, corner = int(rng.choice(ORDERS[shape])), float(np.exp(rng.uniform(math.log(60), math.log(5000))))
        sign, delay_s = int(rng.choice([-1, 1])), rng.uniform(0, 0.01)
        wave = recorded([(kind, shape, slope, corner)], delay_s=delay_s, gain=0.5 * sign, noise=3e-4, seed=i)
        _, path = measured(wave)
        (found,) = path.filters
        assert (found.kind, found.shape, found.slope_db_per_octave) == (kind, shape, slope)
        assert found.corner_hz == pytest.approx(corner, rel=0.01)
        assert path.polarity == {1: "normal", -1: "reversed"}[sign]
        assert path.delay_s == pytest.approx(delay_s, abs=max(2e-5, 0.01 / corner))
        assert path.level_db == pytest.approx(-6.02, abs=0.1)
        held += found.corner_hz_low <= corner <= found.corner_hz_high
        timed += abs(path.delay_s - delay_s) <= path.delay_within_s
    assert timed >= 33
    assert held >= 33  # 38 expected of 40; three standard deviations of a binomial are 4.1


def test_a_band_has_two_filters() -> None:
    """A mid-range path: both sides at once."""
    wave = recorded([("high", "linkwitz-riley", 24, 80.0), ("low", "linkwitz-riley", 24, 3200.0)], delay_s=0.002)
    _, path = measured(wave)
    assert [f.text for f in path.filters] == ["linkwitz-riley 24 at 80 Hz", "linkwitz-riley 24 at 3200 Hz"]
    assert path.delay_s == pytest.approx(0.002, abs=1e-5)


def test_flat_path_has_no_filter() -> None:
    """None is found in it; an inverted one is reported as inverted."""
    _, path = measured(recorded([], gain=-0.25, delay_s=0.0031))
    assert path.filters == ()
    assert path.polarity == "reversed"
    assert path.level_db == pytest.approx(20 * math.log10(0.25), abs=0.02)
    assert path.delay_s == pytest.approx(0.0031, abs=2e-6)


def test_response_is_that_of_the_filter() -> None:
    """Each point of the curve within 0.15 dB of scipy's response, down to 40 dB."""
    filters: list[Named] = [("low", "butterworth", 24, 250.0)]
    response, _ = measured(recorded(filters, noise=1e-5))
    true = 20 * np.log10(np.abs(analogue(filters, response.frequency_hz)))
    near = true > -40
    assert np.max(np.abs(response.level_db - true)[near]) < 0.15


def test_two_channels_and_their_coherence() -> None:
    """Noise before and after a path: H1 and a coherence of s/(s + n) (Bendat & Piersol)."""
    source = np.random.default_rng(2).normal(0, 0.1, 20 * RATE_HZ)
    filters: list[Named] = [("low", "linkwitz-riley", 24, 120.0)]
    wave = recorded(filters, delay_s=0.004, gain=-1.0, noise=1e-2, played=source)[: len(source)]
    response = two_channel_response(wave, source, rate_hz=RATE_HZ, low_hz=20, high_hz=20_000)
    path = identify_filters(response)
    (found,) = path.filters
    assert (found.shape, found.slope_db_per_octave) == ("linkwitz-riley", 24)
    assert found.corner_hz == pytest.approx(120, rel=0.02)
    assert path.polarity == "reversed"
    assert path.delay_s == pytest.approx(0.004, abs=2e-4)
    size = np.abs(analogue(filters, response.frequency_hz)) ** 2 * 0.01
    low = response.frequency_hz < 300
    assert np.max(np.abs(response.coherence - size / (size + 1e-4))[low]) < 0.1


@pytest.mark.parametrize(("order", "lead_s"), [(2, 1.003433), (3, 1.590403), (5, 2.329900)])
def test_harmonics_lead_by_the_closed_form(order: int, lead_s: float) -> None:
    """L ln N of a 10 s sweep from 20 Hz to 20 kHz (Farina 2000, printed to 1e-6 s)."""
    assert Sweep(seconds=10.0).stretch_s * math.log(order) == pytest.approx(lead_s, abs=2e-6)


def test_a_distorting_path_shows_its_linear_response() -> None:
    """X + 0.1 x^2 + 0.05 x^3 of a unit sine: the linear part is 1 + 0.0375 (identities); the harmonics are removed."""
    x = Sweep(seconds=4.0, level_dbfs=0.0).render()
    wave = np.concatenate([x + 0.1 * x**2 + 0.05 * x**3, np.zeros(4800)])
    response = sweep_response(wave, x, rate_hz=RATE_HZ, low_hz=20, high_hz=20_000)
    middle = (response.frequency_hz > 100) & (response.frequency_hz < 8000)
    assert np.max(np.abs(response.level_db[middle] - 20 * math.log10(1.0375))) < 0.1


def test_sides_are_compared() -> None:
    """1.5 dB less, 0.5 ms later (17.2 cm at 20 °C, 343.2 m/s), inverted."""
    band: list[Named] = [("high", "butterworth", 12, 100.0)]
    left = measured(recorded(band, delay_s=0.001))
    right = measured(recorded(band, delay_s=0.0015, gain=-(10 ** (-1.5 / 20)), seed=2))
    found = compare_paths(left, right)
    assert found.level_db is not None
    assert found.level_db.low <= -1.5 <= found.level_db.high
    assert found.level_db.high - found.level_db.low < 0.1
    assert found.delay_s == pytest.approx(0.0005, abs=1e-5)
    assert found.distance_m == pytest.approx(0.1716, abs=0.004)
    assert found.same_polarity is False


def test_filter_of_sox_is_identified(tmp_path: Path) -> None:
    """Two of sox's second-order low-passes at 200 Hz make a Linkwitz-Riley of 24 dB an octave; padded by 10 ms."""
    import soundfile

    soundfile.write(tmp_path / "s.wav", PLAYED, RATE_HZ, subtype="PCM_24")
    effects = ("lowpass", "200", "lowpass", "200", "pad", "0.01", "0.2")
    subprocess.run(("sox", "s.wav", "t.wav", *effects), cwd=tmp_path, check=True, capture_output=True)
    _, path = measured(read_recording(tmp_path / "t.wav").samples[:, 0])
    (found,) = path.filters
    assert (found.shape, found.slope_db_per_octave) == ("linkwitz-riley", 24)
    assert found.corner_hz == pytest.approx(200, rel=0.01)
    assert path.delay_s == pytest.approx(0.01, abs=1e-4)
