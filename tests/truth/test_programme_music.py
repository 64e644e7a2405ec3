"""Real music from Debian packages against pyloudnorm, ffmpeg (ebur128, astats) and sox, each on its own decoding.

Loudness within 0.1 LU, peaks and rms within 0.05 dB.
"""

from __future__ import annotations

import math
import subprocess
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
from programme import by_ffmpeg_levels, by_ffmpeg_loudness, by_sox, music

from gainwright.programme import TrackStatistics, analyse_file, open_track

SHORTEST_S = 3.5
"""A loop shorter than a short-term window has no range."""
PICKED = {"hyperrogue-music": range(6, 17, 4), "sonic-pi-samples": range(0, 160, 10), "alsa-utils": range(0, 9, 4)}
PICKED |= {"asterisk-core-sounds-en-wav": range(0, 40, 8)}
TRACKS = [(package, index) for package, part in PICKED.items() for index in part]


def track(package: str, index: int) -> tuple[Path, TrackStatistics]:
    """Return a recording and its statistics."""
    path = music(package)[index]
    found = analyse_file(path)
    assert found is not None
    return path, found


@pytest.mark.parametrize(("package", "index"), TRACKS)
def test_peak_rms_and_dc_are_those_of_ffmpeg_and_sox(package: str, index: int) -> None:
    """Over all channels: ffmpeg astats and sox stats."""
    path, found = track(package, index)
    full = found.band("full")
    by_ffmpeg = by_ffmpeg_levels(path)
    assert full.peak_dbfs == pytest.approx(by_ffmpeg["Peak"], abs=0.05)
    rms_db = 10 * math.log10(full.mean_square)
    assert rms_db == pytest.approx(by_ffmpeg["RMS"], abs=0.05)
    assert full.rms_dbfs == pytest.approx(rms_db + 3.0103, abs=1e-4)
    assert full.dc == pytest.approx(by_ffmpeg["DC"], abs=2e-6)
    by_other = by_sox(path)
    assert rms_db == pytest.approx(by_other["RMS"], abs=0.05)
    if by_other["Pk"] < -0.02:  # sox clamps what lossy decoding takes over full scale
        assert full.peak_dbfs == pytest.approx(by_other["Pk"], abs=0.05)


@pytest.mark.parametrize("package", PICKED)
def test_loudness_is_that_of_ffmpeg_and_pyloudnorm(package: str) -> None:
    """Integrated and range by ffmpeg ebur128, and pyloudnorm with the filters of the annex made anew at the rate (its class DeMan)."""
    compared = 0
    for index in PICKED[package]:
        path, found = track(package, index)
        if found.seconds < SHORTEST_S:
            continue
        compared += 1
        by_ffmpeg = by_ffmpeg_loudness(path)
        assert found.lufs == pytest.approx(by_ffmpeg["lufs"], abs=0.1), path.name
        assert found.loudness_range_lu == pytest.approx(by_ffmpeg["range"], abs=0.5), path.name
        with open_track(path) as opened:
            samples = np.concatenate([block.copy() for block in opened.blocks]).astype(np.float64)
        by_other = pyloudnorm.Meter(found.rate_hz, filter_class="DeMan").integrated_loudness(samples)
        assert found.lufs == pytest.approx(by_other, abs=0.02), path.name
    assert compared or package == "alsa-utils"  # its words are all shorter than that


@pytest.mark.parametrize("index", [0, 6, 12])
def test_true_peak_is_near_ffmpeg_s(index: int) -> None:
    """Against ffmpeg's interpolator: both are within what four times oversampling may read low."""
    path, found = track("hyperrogue-music", index)
    assert found.true_peak_dbtp == pytest.approx(by_ffmpeg_loudness(path)["true_peak"], abs=0.25)


@pytest.mark.parametrize(
    ("suffix", "options"),
    [
        ("mp3", ["-c:a", "libmp3lame", "-q:a", "0"]),
        ("m4a", ["-c:a", "aac", "-b:a", "256k"]),
        ("flac", ["-c:a", "flac"]),
    ],
)
def test_other_formats_agree_with_ffmpeg(suffix: str, options: list[str], tmp_path: Path) -> None:
    """MP3, AAC and FLAC of one track, decoded here and by ffmpeg; also above full scale (nothing is clamped)."""
    path = tmp_path / f"track.{suffix}"
    source = ["ffmpeg", "-v", "error", "-i", str(music("hyperrogue-music")[8]), "-vn", "-af", "volume=3dB"]
    subprocess.run([*source, *options, str(path)], check=True)
    found = analyse_file(path)
    assert found is not None
    by_ffmpeg = by_ffmpeg_levels(path)
    full = found.band("full")
    if suffix != "flac":
        assert full.peak > 1
    assert full.peak_dbfs == pytest.approx(by_ffmpeg["Peak"], abs=0.05)
    assert 10 * math.log10(full.mean_square) == pytest.approx(by_ffmpeg["RMS"], abs=0.05)
    assert found.lufs == pytest.approx(by_ffmpeg_loudness(path)["lufs"], abs=0.1)
