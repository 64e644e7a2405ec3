"""Noise levels against closed forms and scipy; hum and whine against recordings made by sox and ffmpeg."""

from __future__ import annotations

import math
import subprocess
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

from gainwright.metering import NoiseChannel, Recording, measure_noise, read_recording
from gainwright.physics.noise import WEIGHTING_POLES_HZ

RATE_HZ = 48_000


def measured(samples: np.ndarray) -> NoiseChannel:
    """Measure one channel."""
    return measure_noise(Recording(samples[:, None], RATE_HZ))[0]


def white(rms: float, seconds: float = 20.0, seed: int = 1) -> np.ndarray:
    """Return white noise."""
    return np.random.default_rng(seed).normal(0, rms, round(seconds * RATE_HZ))


def test_white_noise_has_the_bands_share_of_its_power() -> None:
    """19980 of 24000 Hz of the power of white noise are in 20 Hz to 20 kHz."""
    found = measured(white(1e-3))
    assert found.noise_dbfs is not None
    assert found.interval_db is not None
    expected = 20 * math.log10(1e-3 * math.sqrt(2 * 19980 / 24000))
    assert found.noise_dbfs == pytest.approx(expected, abs=0.03)
    assert found.interval_db < 0.05


def test_interval_has_its_stated_coverage() -> None:
    """Of 60 recordings of 4 s, about 95 % lie within the stated interval of the true level (chi-square)."""
    true = 20 * math.log10(1e-3 * math.sqrt(2 * 19980 / 24000))
    inside = 0
    for seed in range(60):
        found = measured(white(1e-3, 4.0, seed))
        assert found.noise_dbfs is not None
        assert found.interval_db is not None
        inside += abs(found.noise_dbfs - true) <= found.interval_db
    assert inside >= 51  # 57 expected, three standard deviations of a binomial are 5.1


def test_a_weighting_is_that_of_a_filter_in_time() -> None:
    """IEC 61672-1 poles as a scipy filter at 192 kHz, 20 kHz band, against the spectrum's weighting."""
    noise = white(1e-3, 10.0)
    f1, f2, f3, f4 = (2 * math.pi * f for f in WEIGHTING_POLES_HZ)
    fast = signal.resample_poly(noise, 4, 1)
    zpk = ([0, 0, 0, 0], [-f1, -f1, -f2, -f3, -f4, -f4], 1.0)
    at_1k = abs(signal.freqs_zpk(*zpk, worN=[2 * math.pi * 1000])[1][0])
    sos = signal.zpk2sos(*signal.bilinear_zpk(zpk[0], zpk[1], 1 / at_1k, fs=4 * RATE_HZ))
    band = signal.butter(16, 20_000, fs=4 * RATE_HZ, output="sos")
    weighted = signal.sosfilt(band, signal.sosfilt(sos, fast))[RATE_HZ:]
    found = measured(noise).a_weighted_dbfs
    assert found == pytest.approx(20 * math.log10(np.std(weighted) * math.sqrt(2)), abs=0.1)


def test_weighting_of_a_1_khz_line_is_zero() -> None:
    """A-weighting is 0 dB at 1 kHz, -19.1 dB at 100 Hz, -39.4 dB at 31.6 Hz (IEC 61672-1, table 3)."""
    time_s = np.arange(5 * RATE_HZ) / RATE_HZ
    for hz, weight in ((1000.0, 0.0), (100.0, -19.1), (10**1.5, -39.4)):
        found = measured(0.01 * np.sin(2 * np.pi * hz * time_s) + white(1e-7, 5.0))
        assert found.noise_dbfs is not None
        assert found.a_weighted_dbfs is not None
        assert found.a_weighted_dbfs - found.noise_dbfs == pytest.approx(weight, abs=0.06)


def test_signal_to_noise_of_a_power() -> None:
    """300 W into 4 ohm is 34.64 V; 1 mV of noise in the band is 90.8 dB below it."""
    found = measure_noise(
        Recording(white(1e-3)[:, None], RATE_HZ), calibrate_v=1 / math.sqrt(2), reference_v=math.sqrt(300 * 4)
    )[0]
    assert found.noise_v_rms == pytest.approx(1e-3 * math.sqrt(19980 / 24000), rel=0.004)
    assert found.snr_db == pytest.approx(20 * math.log10(math.sqrt(1200) / (1e-3 * math.sqrt(19980 / 24000))), abs=0.04)


# ---- hum, ripple, whine, by other programs ------------------------------------------------------------------


def made(path: Path, expression: str, seconds: int = 10) -> NoiseChannel:
    """Let ffmpeg make a recording: an expression in t, and its own white noise at -80 dBFS or so."""
    source = f"aevalsrc='{expression}+0.0001*(random(0)-0.5)':s=48000:d={seconds}"
    command = ("ffmpeg", "-v", "error", "-f", "lavfi", "-i", source, "-c:a", "pcm_s24le", str(path))
    subprocess.run(command, check=True, capture_output=True)
    return measure_noise(read_recording(path))[0]


@pytest.mark.parametrize(
    ("expression", "kind", "hz", "level_dbfs"),
    [
        ("0.01*sin(2*PI*50*t)", "mains_hum", 50, -40.0),
        ("0.01*sin(2*PI*59.97*t)+0.001*sin(2*PI*179.91*t)", "mains_hum", 59.97, -39.96),
        (
            "0.001*(" + "+".join(f"sin(2*PI*{50 * k}*t)/{k**0.5:.4f}" for k in range(1, 9)) + ")",
            "ground_loop_hum",
            50,
            -55.66,
        ),
        ("0.002*sin(2*PI*100*t)+0.001*sin(2*PI*200*t)+0.0005*sin(2*PI*300*t)", "rectifier_ripple", 100, -52.8),
        ("0.001*sin(2*PI*7999*t)", "digital_whine", 7999, -60.0),
        ("+".join(f"0.001/{k}*sin(2*PI*{k}*(600*t+15*t*t))" for k in range(1, 5)), "alternator_whine", None, -58.47),
    ],
)
def test_each_kind_of_noise_is_recognised(
    tmp_path: Path, expression: str, kind: str, hz: float | None, level_dbfs: float
) -> None:
    """The loudest component is the one added, at its level; hiss is the remainder."""
    found = made(tmp_path / "n.wav", expression)
    first, *others = found.components
    assert first.kind == kind
    assert first.level_dbfs == pytest.approx(level_dbfs, abs=0.3)
    if hz is not None:
        assert first.frequency_hz == pytest.approx(hz, abs=0.05)
    assert [c.kind for c in others] == ["hiss"]
    # random() - 0.5 times 1e-4: rms 1e-4/sqrt(12)
    assert others[0].level_dbfs == pytest.approx(
        20 * math.log10(1e-4 / math.sqrt(12) * math.sqrt(2 * 19980 / 24000)), abs=0.5
    )


def test_combined_kinds_are_distinguished(tmp_path: Path) -> None:
    """Hum, alternator whine and a steady whine in one recording."""
    whine = "+".join(f"0.002/{k}*sin(2*PI*{k}*(500*t+20*t*t))" for k in range(1, 5))
    found = made(tmp_path / "n.wav", f"0.01*sin(2*PI*50*t)+{whine}+0.0003*sin(2*PI*11025*t)")
    levels = {c.kind: c.level_dbfs for c in found.components}
    assert set(levels) == {"mains_hum", "alternator_whine", "digital_whine", "hiss"}
    assert levels["mains_hum"] == pytest.approx(-40.0, abs=0.2)
    assert levels["alternator_whine"] == pytest.approx(-52.44, abs=0.5)
    assert levels["digital_whine"] == pytest.approx(-70.46, abs=0.5)


def test_a_whine_recorded_by_sox(tmp_path: Path) -> None:
    """A sweep of sox's own oscillators, 600 to 900 Hz and its double, is recognised as an alternator's; a steady 600 Hz isn't."""
    for end, kind in (("-900", "alternator_whine"), ("", "digital_whine")):
        path = tmp_path / f"whine{end}.wav"
        double = f"1200{'-1800' if end else ''}"
        command = ("sox", "-n", "-r", "48000", "-b", "24", str(path), "synth", "10", "sine", f"600{end}", "synth", "10", "sine", "mix", double, "vol", "0.01")  # fmt: skip
        subprocess.run(command, check=True, capture_output=True)
        noisy = read_recording(path).samples[:, 0] + white(1e-5, 10.0)
        assert measured(noisy).components[0].kind == kind


@pytest.mark.parametrize("colour", [0.0, 1.0, 2.0])
def test_noise_alone_is_hiss(colour: float) -> None:
    """White, pink and brown noise have neither lines nor combs, in 12 recordings each."""
    for seed in range(12):
        spectrum = np.fft.rfft(white(1.0, 6.0, seed))
        hz = np.fft.rfftfreq(6 * RATE_HZ, 1 / RATE_HZ)
        coloured = np.fft.irfft(spectrum / np.maximum(hz, 10.0) ** (colour / 2))
        assert [c.kind for c in measured(1e-3 * coloured / np.std(coloured)).components] == ["hiss"]
