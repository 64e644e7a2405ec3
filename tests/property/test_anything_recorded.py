"""Whatever was recorded, every analysis gives a result or refuses with one sentence."""

from __future__ import annotations

import json
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import interpolate, signal
from search_length import up_to

from gainwright.adapters.calibrations import FileCalibrations
from gainwright.errors import CallError, RecordingError
from gainwright.metering import (
    Recording,
    find_onset,
    identify_filters,
    measure_noise,
    sweep_response,
    two_channel_response,
)
from gainwright.metering.compression_curves import HARD, compression_curve
from gainwright.metering.spectrum import blackman_harris
from gainwright.results import to_json


def anything(kind: str, length: int, seed: int) -> np.ndarray:
    """Return some samples."""
    rng, n = np.random.default_rng(seed), np.arange(length)
    pitch = rng.uniform(0.002, 3)
    made: dict[str, Callable[[], np.ndarray]] = {
        "noise": lambda: rng.normal(0, 1, length),
        "silence": lambda: np.zeros(length),
        "constant": lambda: np.full(length, rng.normal()),
        "spike": lambda: (n == length // 2).astype(float),
        "huge": lambda: 1e9 * np.sin(n * pitch),
        "tiny": lambda: 1e-12 * np.sin(n * pitch),
        "square": lambda: np.sign(np.sin(n * pitch)),
        "rising": lambda: np.clip(np.exp(n / length * 8 - 8) * np.sin(n * pitch), -0.1, 0.1),
        "bursts": lambda: rng.normal(0, 1, length) * (n // 2000 % 2),
    }
    return np.asarray(made[kind]())


kinds = st.sampled_from(["noise", "silence", "constant", "spike", "huge", "tiny", "square", "rising", "bursts"])
lengths = st.sampled_from([1, 7, 500, 20_000, 60_000])


@settings(max_examples=up_to(60))
@given(kind=kinds, length=lengths, seed=st.integers(0, 10**6), rate_hz=st.sampled_from([8000, 48_000, 192_000]))
def test_noise_and_onset_of_anything(kind: str, length: int, seed: int, rate_hz: int) -> None:
    """Results are plain JSON without NaN."""
    recording = Recording(anything(kind, length, seed)[:, None], rate_hz)
    json.dumps([to_json(channel) for channel in measure_noise(recording)], allow_nan=False)
    json.dumps([to_json(channel) for channel in find_onset(recording)], allow_nan=False)


@settings(max_examples=up_to(40))
@given(kind=kinds, other=kinds, length=st.sampled_from([500, 60_000, 120_000]), seed=st.integers(0, 10**6))
def test_responses_of_anything(kind: str, other: str, length: int, seed: int) -> None:
    """A response with finite figures, or a refusal."""
    a, b = anything(kind, length, seed), anything(other, length, seed + 1)
    for act in (sweep_response, two_channel_response):
        try:
            path = identify_filters(act(a, b, rate_hz=48_000, low_hz=20, high_hz=20_000))
        except RecordingError as error:
            assert error.remedy
            continue
        assert np.isfinite(path.level_db)
        assert all(np.isfinite(f.corner_hz) for f in path.filters)


@settings(max_examples=up_to(60))
@given(content=st.one_of(st.binary(max_size=60), st.text(max_size=60).map(str.encode)))
def test_any_calibration_file(content: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Is read, or refused with what to do."""
    folder = tmp_path_factory.mktemp("settings", numbered=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(folder))
        FileCalibrations().path.parent.mkdir(parents=True)
        FileCalibrations().path.write_bytes(content)
        try:
            assert all(value > 0 for value in FileCalibrations().kept().values())
        except CallError as error:
            assert "delete it" in str(error)


def test_window_and_interpolation_are_scipys() -> None:
    """The four-term window is scipy's; the tables of bends interpolate within 1e-3 dB of a cubic through them."""
    np.testing.assert_allclose(blackman_harris(4096), signal.windows.blackmanharris(4096, sym=False), atol=1e-12)
    shape = compression_curve(HARD, shows="rms")
    fine = np.linspace(-25, 40, 5001)
    cubic = interpolate.CubicSpline(shape.drive_db, shape.shown_db)(fine)
    away = np.abs(fine) > 0.3  # about the kink a cubic swings
    np.testing.assert_allclose(shape.shown(fine)[away], cubic[away], atol=1e-3)
