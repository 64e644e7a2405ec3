"""Recordings that nobody makes on purpose: too short, of a few samples a second, of numbers beyond any sound, damaged."""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile

from gainwright.app.measuring.responses import responses
from gainwright.errors import RecordingError
from gainwright.metering import find_onset, measure, measure_noise, read_recording_bytes
from gainwright.signals import Sweep


def wav(samples: np.ndarray, rate_hz: int = 48_000, subtype: str = "DOUBLE") -> bytes:
    """Return a file of samples."""
    out = io.BytesIO()
    soundfile.write(out, samples, rate_hz, format="WAV", subtype=subtype)
    return out.getvalue()


@pytest.mark.parametrize("count", [1, 2, 3, 100, 4000])
@pytest.mark.parametrize("value", [0.0, 0.5, 1.0])
def test_too_little_is_said_to_be_too_little(count: int, value: float) -> None:
    """Less than a tenth of a second gets no verdict about a tone, and no filter is found in it."""
    recording = read_recording_bytes(wav(np.full(count, value)), name="short.wav")
    channel = measure(recording).channels[0]
    assert channel.verdict == "too_short"
    assert "0.1 s are needed" in channel.why_not["frequency_hz"]
    with pytest.raises(RecordingError) as caught:
        responses(recording, Sweep(20.0, 20_000.0, 10.0))
    assert caught.value.code == "too_short"
    assert caught.value.rule == "the sweep alone takes 10 s"
    assert measure_noise(recording)[0].noise_dbfs is None


@pytest.mark.parametrize("rate_hz", [1, 2, 3, 5, 8, 999, 2_000_000_000])
def test_sampling_rates_that_no_sound_has_are_refused(rate_hz: int) -> None:
    """By the header, before anything is computed from them."""
    with pytest.raises(RecordingError) as caught:
        read_recording_bytes(wav(np.zeros(100), rate_hz), name="odd.wav")
    assert caught.value.code == "bad_rate"
    assert "48 kHz" in caught.value.remedy


@pytest.mark.parametrize("value", [1e200, -1e200, 1.7e308, 1e13])
def test_numbers_beyond_any_sound_are_refused(value: float) -> None:
    """Their squares are no numbers any more."""
    samples = np.zeros(4800)
    samples[7] = value
    with pytest.raises(RecordingError, match="times full scale") as caught:
        read_recording_bytes(wav(samples), name="loud.wav")
    assert caught.value.code == "not_finite"


def test_a_loud_constant_is_no_onset() -> None:
    """Rounding leaves less than nothing of the power of an offset (once a math domain error)."""
    samples = np.full(12_000, 0.3)
    samples[6000:6010] += 1e-9
    assert find_onset(read_recording_bytes(wav(samples, 8000), name="offset.wav"))


def test_a_damaged_header_that_points_before_the_file_is_refused(capfd: pytest.CaptureFixture[str]) -> None:
    """And nothing is written to standard error by the library that reads it."""
    content = bytearray(wav(np.zeros(48), subtype="PCM_16"))
    content[:4] = b"\x00\xff\x7f\xff"
    with pytest.raises(RecordingError):
        read_recording_bytes(bytes(content), name="damaged.wav")
    assert "Traceback" not in capfd.readouterr().err
