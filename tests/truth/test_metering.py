"""Results of `measure` against closed forms, bounds and other programs."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile

from gainwright.metering import Recording, four_parameter_fit, lines, measure, read_recording, three_parameter_fit

RATE_HZ = 48_000
TONE_HZ, LOW_TONE_HZ = 997.0, 211.0


def clipped(
    depth_db: float,
    tone_hz: float = TONE_HZ,
    *,
    ceiling: float = 0.5,
    seconds: float = 2.0,
    snr_db: float | None = 60.0,
    seed: int = 1,
) -> np.ndarray:
    """Return a clipped sine as an ideal recorder takes it: its harmonics under 20 kHz by the Fourier series, and noise.

    Source of the series: y = clip(A sin t, -1, 1), b_n of check tables of clipped sines (Fourier series, closed form).
    """
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    drive = 10 ** (depth_db / 20)
    a = np.arcsin(min(1.0, 1 / drive))
    wave = np.zeros_like(time_s)
    for n in range(1, int(20_000 / tone_hz) + 1, 2):
        if n == 1:
            b = 2 * drive / np.pi * (a + np.sqrt(1 - 1 / drive**2) / drive)
        else:
            b = (
                4
                / np.pi
                * (drive / 2 * (np.sin((n - 1) * a) / (n - 1) - np.sin((n + 1) * a) / (n + 1)) + np.cos(n * a) / n)
            )
        wave += b * np.sin(2 * np.pi * n * tone_hz * time_s + n * 0.3)
    wave *= ceiling
    if snr_db is not None:
        wave += np.random.default_rng(seed).normal(0, np.std(wave) * 10 ** (-snr_db / 20), len(wave))
    return wave


@pytest.mark.parametrize(
    ("depth_db", "thd_percent"),
    [
        (0.1, 0.3369),
        (0.25, 0.9942),
        (0.5, 2.1889),
        (1.0, 4.6316),
        (1.5, 6.9997),
        (2.0, 9.2499),
        (3.0, 13.3795),
        (4.0, 17.0505),
        (6.0, 23.2371),
    ],
)
def test_thd_and_depth_of_clipped_sines(depth_db: float, thd_percent: float) -> None:
    """THD within 1 % of the table's value at 60 dB of signal to noise; the clip depth is found.

    The table counts harmonics without end, the recording ends at 20 kHz: at 211 Hz that leaves out H95 and above, 0.1 %
    of THD at most.
    """
    channel = measure(Recording(clipped(depth_db, LOW_TONE_HZ)[:, None], RATE_HZ)).channels[0]
    assert channel.verdict == "clipped"
    assert channel.thd_percent == pytest.approx(thd_percent, rel=0.01)
    assert channel.clip_depth_db == pytest.approx(depth_db, abs=0.05 + 0.03 * depth_db)
    assert channel.frequency_hz == pytest.approx(LOW_TONE_HZ, abs=1e-3)


@pytest.mark.parametrize(("order", "percent"), [(3, 12.923), (5, 2.609), (7, 1.837)])
def test_harmonics_of_a_3_db_clip(order: int, percent: float) -> None:
    """Single harmonics over the fundamental, from the table of clipped sines."""
    channel = measure(Recording(clipped(3.0)[:, None], RATE_HZ)).channels[0]
    found = {h.order: h.percent for h in channel.harmonics}
    assert found[order] == pytest.approx(percent, rel=0.01)
    assert found[2] == 0


def test_a_polynomial_bend() -> None:
    """A bend x + 0.02 x^2 + 0.04 x^3 of a unit sine: fundamental 1.03, THD 1.373023 % (trigonometric identities); not clipped."""
    x = np.sin(2 * np.pi * TONE_HZ * np.arange(2 * RATE_HZ) / RATE_HZ)
    channel = measure(Recording((0.5 * (x + 0.02 * x**2 + 0.04 * x**3))[:, None], RATE_HZ)).channels[0]
    assert channel.thd_percent == pytest.approx(1.373023, rel=1e-3)
    assert channel.fundamental_dbfs == pytest.approx(20 * np.log10(0.5 * 1.03), abs=1e-4)
    assert channel.verdict == "distorted"
    assert channel.clipped is False


@pytest.mark.parametrize("level_dbfs", [0.0, -3.0, -20.0, -60.0])
def test_levels_are_those_of_aes17(level_dbfs: float) -> None:
    """A full-scale sine is 0 dBFS in rms and fundamental, and its peak is 0 dBFS too (AES17-2015, 3.12)."""
    x = 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * TONE_HZ * np.arange(RATE_HZ) / RATE_HZ)
    channel = measure(Recording(x[:, None], RATE_HZ)).channels[0]
    assert channel.fundamental_dbfs == pytest.approx(level_dbfs, abs=1e-3)
    assert channel.rms_dbfs == pytest.approx(level_dbfs, abs=1e-3)
    assert channel.peak_dbfs == pytest.approx(level_dbfs, abs=0.02)


def test_noise_and_thd_n() -> None:
    """White noise of known power: 20 Hz to 20 kHz contains 19980/24000 of it; THD+N is that over the total (AES17-2015, 6.3.1)."""
    noise_rms = 1e-3
    x = 0.5 * np.sin(2 * np.pi * TONE_HZ * np.arange(10 * RATE_HZ) / RATE_HZ)
    x += np.random.default_rng(2).normal(0, noise_rms, len(x))
    channel = measure(Recording(x[:, None], RATE_HZ)).channels[0]
    inside = noise_rms * np.sqrt(19980 / 24000)
    assert channel.noise_dbfs == pytest.approx(20 * np.log10(inside * np.sqrt(2)), abs=0.1)
    assert channel.thd_n_percent == pytest.approx(100 * inside / np.hypot(0.5 / np.sqrt(2), inside), rel=0.02)
    assert channel.thd_percent == pytest.approx(0, abs=0.02)


def test_dc_is_reported_and_not_part_of_the_level() -> None:
    """A mean of 0.1 of full scale is -20 dB re a peak of 1 and changes nothing else."""
    x = 0.3 * np.sin(2 * np.pi * TONE_HZ * np.arange(RATE_HZ) / RATE_HZ) + 0.1
    channel = measure(Recording(x[:, None], RATE_HZ)).channels[0]
    assert channel.dc_dbfs == pytest.approx(-20.0, abs=0.01)
    assert channel.rms_dbfs == pytest.approx(20 * np.log10(0.3), abs=1e-3)


RUNS = 1000


def test_estimates_reach_the_cramer_rao_bound() -> None:
    """Over 1000 noisy runs, frequency and amplitude scatter at most 1.2 times the bound, without bias.

    var A = 2 s^2/N, var w = 24 s^2/(A^2 N (N^2 - 1)) (IEEE 1057; Handel, IEEE Trans. Instrum. Meas. 49(6), 2000);
    N 4800, 40 dB: 1.44338e-4 and 7.95775e-4 Hz.
    """
    count, sigma = 4800, 10 ** (-40 / 20) / np.sqrt(2)
    rng = np.random.default_rng(11)
    found = []
    for _ in range(RUNS):
        phase = rng.uniform(0, 2 * np.pi)
        x = np.cos(2 * np.pi * 1000 / RATE_HZ * np.arange(count) + phase) + rng.normal(0, sigma, count)
        fit = four_parameter_fit(x, rate_hz=RATE_HZ, start_hz=1000.7)
        found.append((fit.frequency_hz - 1000, fit.amplitude - 1))
    scatter = np.sqrt(np.mean(np.square(found), axis=0))
    assert scatter[0] < 1.2 * 7.95775e-4
    assert scatter[1] < 1.2 * 1.44338e-4
    assert scatter[0] > 0.8 * 7.95775e-4  # less than the bound would be a fault of the check
    assert np.all(np.abs(np.mean(found, axis=0)) < 4 * scatter / np.sqrt(RUNS))


def test_fits_without_noise_are_exact() -> None:
    """Three parameters to 1e-12; four from a start 0.5 % off to 1e-8 Hz (IEEE 1057)."""
    n = np.arange(960)
    x = 0.7 * np.cos(2 * np.pi * 1000 / RATE_HZ * n + 0.4) + 0.05
    three = three_parameter_fit(x, rate_hz=RATE_HZ, frequency_hz=1000)
    assert (three.amplitude, three.phase, three.offset) == pytest.approx((0.7, 0.4, 0.05), abs=1e-12)
    four = four_parameter_fit(x, rate_hz=RATE_HZ, start_hz=1005)
    assert four.frequency_hz == pytest.approx(1000, abs=1e-8)
    assert four.amplitude == pytest.approx(0.7, abs=1e-10)


def test_the_share_of_noise_in_a_quantised_sine() -> None:
    """An ideal 10-bit converter has 61.96 dB of SINAD (6.0206 N + 1.7609, IEEE 1241): THD+N 0.0798 %."""
    x = np.sin(2 * np.pi * TONE_HZ * np.arange(10 * RATE_HZ) / RATE_HZ) * (1 - 2**-10)
    x = np.round(x * 2**9) / 2**9
    split = lines(x, rate_hz=RATE_HZ, frequency_hz=TONE_HZ)
    whole = split.noise * 24000 / 19980 + sum(split.harmonics.values())
    assert 10 * np.log10(split.fundamental / whole) == pytest.approx(61.96, abs=0.4)


# ---- other programs --------------------------------------------------------------------------------------------


def run(*command: str) -> str:
    """Run a program, return its output."""
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return done.stdout + done.stderr


@pytest.mark.parametrize("suffix", ["wav", "flac", "ogg", "mp3", "aiff"])
@pytest.mark.parametrize("program", ["sox", "ffmpeg"])
def test_tones_by_other_programs_are_measured_right(tmp_path: Path, program: str, suffix: str) -> None:
    """A 1 kHz tone of -6 dBFS by sox and by ffmpeg, in five formats: level, frequency, verdict."""
    path = tmp_path / f"tone.{suffix}"
    if program == "sox":
        run("sox", "-n", "-r", "48000", "-c", "2", "-b", "16", str(path), "synth", "3", "sine", "1000", "vol", "-6dB")
    else:
        source = "aevalsrc=0.501187*sin(2*PI*1000*t)|0.501187*sin(2*PI*1000*t):s=48000:d=3"
        quality = ("-b:a", "320k") if suffix == "mp3" else ("-c:a", "libvorbis", "-q:a", "8") if suffix == "ogg" else ()
        run("ffmpeg", "-v", "error", "-f", "lavfi", "-i", source, *quality, str(path))
    lossy = suffix in ("ogg", "mp3")
    # sox's writer of MP3 scales by 0.95 (-0.45 dB): ffmpeg reads -9.49 dB rms in it, ends included
    scaled_db = 20 * np.log10(0.95) if (program, suffix) == ("sox", "mp3") else 0.0
    for channel in measure(read_recording(path)).channels:
        assert channel.verdict == "clean"
        assert channel.frequency_hz == pytest.approx(1000, abs=0.05 if lossy else 1e-3)
        assert channel.fundamental_dbfs == pytest.approx(-6 + scaled_db, abs=0.1 if lossy else 2e-3)


def test_rms_and_peak_are_those_of_sox_and_ffmpeg(tmp_path: Path) -> None:
    """The same file of a noisy clipped tone in three programs: rms within 0.02 dB, peak within 0.01 dB."""
    path = tmp_path / "clip.wav"
    soundfile.write(path, clipped(3.0, seconds=3.0), RATE_HZ, subtype="PCM_24")
    channel = measure(read_recording(path)).channels[0]
    sox = run("sox", str(path), "-n", "stats")
    ffmpeg = run("ffmpeg", "-hide_banner", "-i", str(path), "-af", "astats", "-f", "null", "-")
    rms = {"sox": r"RMS lev dB\s+(-?[\d.]+)", "ffmpeg": r"RMS level dB:\s+(-?[\d.]+)"}
    peak = {"sox": r"Pk lev dB\s+(-?[\d.]+)", "ffmpeg": r"Peak level dB:\s+(-?[\d.]+)"}
    for name, said in (("sox", sox), ("ffmpeg", ffmpeg)):
        their_rms = re.search(rms[name], said)
        their_peak = re.search(peak[name], said)
        assert their_rms is not None
        assert their_peak is not None
        assert channel.rms_dbfs == pytest.approx(float(their_rms[1]) + 20 * np.log10(np.sqrt(2)), abs=0.02)
        assert channel.peak_dbfs == pytest.approx(float(their_peak[1]), abs=0.01)
