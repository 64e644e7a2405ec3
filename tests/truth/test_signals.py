"""Tones as written: level, frequency, dither and format, checked with other programs and closed forms."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import signal

from gainwright.metering import four_parameter_fit, measure, read_recording
from gainwright.signals import Tone, quantise, render, steady_frames, tone_bytes


@pytest.mark.parametrize("suffix", ["wav", "flac"])
@pytest.mark.parametrize(("rate_hz", "bits"), [(44_100, 16), (48_000, 16), (44_100, 24), (48_000, 24)])
@pytest.mark.parametrize(("frequency_hz", "level_dbfs"), [(40.0, 0.0), (1000.0, -10.0), (3150.0, -5.0)])
def test_level_and_frequency_are_those_requested(
    tmp_path: Path, suffix: str, rate_hz: int, bits: int, frequency_hz: float, level_dbfs: float
) -> None:
    """Read back by libsndfile and fitted (IEEE 1057): level to 0.001 dB, frequency to its rounding."""
    path = tmp_path / f"tone.{suffix}"
    path.write_bytes(tone_bytes(Tone(frequency_hz, (level_dbfs,), 5.0, rate_hz=rate_hz, bits=bits), path.suffix))
    info = soundfile.info(path)
    assert (info.samplerate, info.channels, info.subtype) == (rate_hz, 2, f"PCM_{bits}")
    samples, _ = soundfile.read(path)
    ramp = round(0.02 * rate_hz)
    for side in samples[ramp:-ramp].T:
        fit = four_parameter_fit(side, rate_hz=rate_hz, start_hz=frequency_hz)
        assert 20 * np.log10(fit.amplitude) == pytest.approx(level_dbfs, abs=1e-3)
        assert fit.frequency_hz == pytest.approx(frequency_hz, abs=1e-4)


@pytest.mark.parametrize("suffix", ["wav", "flac"])
def test_sox_and_ffmpeg_read_what_is_written(tmp_path: Path, suffix: str) -> None:
    """A -12 dBFS tone: the rms of a sine is 3.01 dB below its level; both programs agree within 0.01 dB."""
    path = tmp_path / f"tone.{suffix}"
    path.write_bytes(tone_bytes(Tone(1000.0, (-12.0,), 30.0), path.suffix))
    sox = subprocess.run(
        ("sox", str(path), "-n", "trim", "1", "28", "stats"), capture_output=True, text=True, check=True
    )
    ffmpeg = subprocess.run(
        ("ffmpeg", "-hide_banner", "-ss", "1", "-t", "28", "-i", str(path), "-af", "astats", "-f", "null", "-"),
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    for said, pattern in ((sox.stderr, r"RMS lev dB\s+(-?[\d.]+)"), (ffmpeg.stderr, r"RMS level dB:\s+(-?[\d.]+)")):
        found = re.search(pattern, said)
        assert found is not None
        assert float(found[1]) == pytest.approx(-12 - 10 * np.log10(2), abs=0.01)


def test_flac_and_wav_have_the_same_samples(tmp_path: Path) -> None:
    """Decoded by the reference FLAC program."""
    tone = Tone(440.0, (-1.0,), 2.0)
    (tmp_path / "a.wav").write_bytes(tone_bytes(tone, (tmp_path / "a.wav").suffix))
    (tmp_path / "b.flac").write_bytes(tone_bytes(tone, (tmp_path / "b.flac").suffix))
    subprocess.run(("flac", "-d", "-s", "-o", str(tmp_path / "b.wav"), str(tmp_path / "b.flac")), check=True)
    a, b = (soundfile.read(tmp_path / name, dtype="int16")[0] for name in ("a.wav", "b.wav"))
    assert np.array_equal(a, b)


def test_the_dither_is_triangular() -> None:
    """Total error of TPDF dither and rounding: variance 3 LSB^2/12, independent of the signal (Lipshitz et al. 1992)."""
    tone = Tone(997.0, (-60.0,), 20.0)
    samples = render(tone)
    error = (quantise(samples, bits=16, seed=3) >> 16) - samples * 32767
    assert np.var(error) == pytest.approx(0.25, rel=0.01)
    assert abs(np.mean(error)) < 2e-3
    spectrum = np.abs(np.fft.rfft(error[: 2**19, 0])) ** 2
    assert np.max(spectrum) / np.mean(spectrum) < 25  # no line stands out: chance gives about ln(2.6e5) = 12.5
    low = (quantise(render(Tone(997.0, (-100.0,), 20.0)), bits=16, seed=3) >> 16)[:, 0] / 32767
    hz, density = signal.welch(low, 44_100, nperseg=2**16)
    assert np.max(density[(hz > 990) & (hz < 1004)]) > 20 * np.median(density)  # a tone below one LSB survives
    undithered = np.rint(samples * 32767) - samples * 32767
    spectrum = np.abs(np.fft.rfft(undithered[: 2**19, 0])) ** 2
    assert np.max(spectrum) / np.mean(spectrum) > 1000  # the check can fail


def test_whole_periods_and_faded_ends() -> None:
    """The steady part ends within half a sample of a period; the ends are raised cosines without a step."""
    tone = Tone(40.0, (0.0,), 1.03, rate_hz=48_000)
    frames = steady_frames(tone)
    assert abs(frames * 40 / 48_000 - round(frames * 40 / 48_000)) < 0.5 * 40 / 48_000
    assert frames >= 1.03 * 48_000 - 1
    wave = render(tone)[:, 0]
    assert abs(wave[0]) < 1e-5
    assert abs(wave[-1]) < 1e-5
    sine_step = 2 * np.pi * 40 / 48_000
    assert np.max(np.abs(np.diff(wave))) < sine_step * 1.01


def test_a_run_of_levels_is_steady_at_each() -> None:
    """Each step's level to 0.001 dB, with continuous phase."""
    levels = (-12.0, -9.0, -6.0, -3.0)
    tone = Tone(1000.0, levels, 1.0, rate_hz=48_000, bits=24, sides="mono")
    wave = (quantise(render(tone), bits=24, seed=1) / 2**31)[:, 0]
    step, ramp = steady_frames(tone) + 960, 960
    for i, level in enumerate(levels):
        part = wave[ramp + i * step : ramp + i * step + 48_000]
        assert 20 * np.log10(np.std(part) * np.sqrt(2)) == pytest.approx(level, abs=1e-3)


@pytest.mark.parametrize(
    ("sides", "levels"), [("both", (0, 0)), ("left", (0, None)), ("right", (None, 0)), ("mono", (0,))]
)
def test_sides(tmp_path: Path, sides: str, levels: tuple[int | None, ...]) -> None:
    """A silent side is zero to the last bit."""
    path = tmp_path / "tone.wav"
    path.write_bytes(tone_bytes(Tone(1000.0, (0.0,), 1.0, sides=sides), path.suffix))  # type: ignore[arg-type]
    samples, _ = soundfile.read(path, always_2d=True)
    assert samples.shape[1] == len(levels)
    for channel, level in zip(measure(read_recording(path)).channels, levels, strict=True):
        assert channel.verdict == ("no_tone" if level is None else "clean")
        assert (np.max(np.abs(samples[:, channel.channel - 1])) == 0) == (level is None)
