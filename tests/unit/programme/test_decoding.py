"""Odd files: each gives one sentence, never a crash; valid ones are read by their content."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from programme import music, sine

from gainwright.errors import RecordingError
from gainwright.programme import SUFFIXES, analyse_file, open_track
from gainwright.programme.file_analysis import read_ahead

if TYPE_CHECKING:
    from pathlib import Path

    from gainwright.programme.decoding import Fill, Samples

RATE_HZ = 44_100
CODERS = {
    "wav": ["-c:a", "pcm_s16le"],
    "aiff": ["-c:a", "pcm_s24be"],
    "flac": ["-c:a", "flac"],
    "ogg": ["-c:a", "libvorbis", "-q:a", "6"],
    "opus": ["-c:a", "libopus", "-b:a", "160k"],
    "mp3": ["-c:a", "libmp3lame", "-q:a", "0"],
    "m4a": ["-c:a", "aac", "-b:a", "256k", "-movflags", "+faststart"],
    "aac": ["-c:a", "aac", "-b:a", "256k"],
}
LOSSLESS = {"wav", "aiff", "flac"}


@pytest.fixture(scope="module")
def coded(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Return twenty seconds of music in every format."""
    folder = tmp_path_factory.mktemp("coded")
    found = {}
    for suffix, options in CODERS.items():
        found[suffix] = folder / f"music.{suffix}"
        source = ["ffmpeg", "-v", "error", "-y", "-t", "20", "-i", str(music("hyperrogue-music")[5]), "-vn"]
        subprocess.run([*source, *options, str(found[suffix])], check=True)
    return found


def refused(path: Path) -> RecordingError:
    """Return the error of a file, which is one sentence that names it."""
    with pytest.raises(RecordingError) as caught:
        analyse_file(path)
    assert caught.value.where == str(path)
    assert caught.value.what
    assert "\n" not in str(caught.value)
    return caught.value


@pytest.mark.parametrize("suffix", CODERS)
def test_every_format_is_read_to_its_end(suffix: str, coded: dict[str, Path]) -> None:
    """Every format gives twenty seconds, with the same loudness within 0.2 LU."""
    found = analyse_file(coded[suffix])
    assert found is not None
    assert found.channels == 2
    assert found.seconds == pytest.approx(20, abs=0.003 if suffix in LOSSLESS else 0.1)
    reference = analyse_file(coded["wav"])
    assert reference is not None
    assert found.lufs == pytest.approx(reference.lufs, abs=0.2)


def test_without_the_extra_aac_it_is_named(coded: dict[str, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """Vorbis and all that soundfile reads is read; AAC and Opus are refused with the extra and the line that installs it."""
    monkeypatch.setitem(sys.modules, "av", None)
    for suffix in ("m4a", "aac", "opus"):
        error = refused(coded[suffix])
        assert (error.code, error.what) == ("needs_extra", "can only be read with the extra aac")
        assert error.remedy == 'python -m pip install "gainwright[aac]"'
    for suffix in ("ogg", "mp3"):
        with open_track(coded[suffix]) as track:
            assert sum(len(block) for block in track.blocks) == pytest.approx(20 * RATE_HZ, abs=0.1 * RATE_HZ)


@pytest.mark.parametrize("suffix", [name for name in CODERS if name != "aac"])
def test_truncated_file_is_reported(suffix: str, coded: dict[str, Path], tmp_path: Path) -> None:
    """A file whose copying stopped half way is reported; a bare AAC stream has no header that could show it."""
    whole = coded[suffix].read_bytes()
    path = tmp_path / f"half.{suffix}"
    path.write_bytes(whole[: len(whole) // 2])
    refused(path)


@pytest.mark.parametrize("suffix", CODERS)
def test_a_name_does_not_matter(suffix: str, coded: dict[str, Path], tmp_path: Path) -> None:
    """A track with another format's suffix is read by its content."""
    path = tmp_path / ("named.mp3" if suffix != "mp3" else "named.wav")
    path.write_bytes(coded[suffix].read_bytes())
    found = analyse_file(path)
    assert found is not None
    assert found.seconds == pytest.approx(20, abs=0.1)


@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize("content", [b"", b"no sound at all, only words. " * 200, bytes(5000), b"\xff" * 5000])
def test_files_without_sound_are_refused(suffix: str, content: bytes, tmp_path: Path) -> None:
    """Empty, text, zeros and ones under every suffix of a track."""
    path = tmp_path / f"track{suffix}"
    path.write_bytes(content)
    refused(path)


def test_protected_tracks_are_refused(coded: dict[str, Path], tmp_path: Path) -> None:
    """Protected sound in MP4 (ISO/IEC 14496-12: sample entry enca; or drms) is not decoded to noise."""
    for mark in (b"enca", b"drms"):
        path = tmp_path / "locked.m4a"
        path.write_bytes(coded["m4a"].read_bytes().replace(b"mp4a", mark, 1))
        assert refused(path).code == "encrypted"


def test_folder_and_missing_file_are_refused(tmp_path: Path) -> None:
    """Neither is a crash."""
    refused(tmp_path)
    refused(tmp_path / "absent.wav")


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_nan_samples_are_refused(value: float, tmp_path: Path) -> None:
    """One NaN in the middle of a file of floats."""
    samples = np.repeat(sine(-6, 2, rate_hz=RATE_HZ)[:, None], 2, axis=1).astype(np.float32)
    samples[40_000, 1] = value
    path = tmp_path / "odd.wav"
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")
    assert refused(path).code == "not_numbers"


def test_header_without_samples_is_refused(tmp_path: Path) -> None:
    """A WAV file of no frames."""
    path = tmp_path / "none.wav"
    soundfile.write(path, np.zeros((0, 2)), RATE_HZ)
    assert refused(path).code == "empty"


def test_embedded_picture_is_ignored(coded: dict[str, Path], tmp_path: Path) -> None:
    """A cover picture beside the sound."""
    path = tmp_path / "cover.m4a"
    draw = [
        "-f",
        "lavfi",
        "-i",
        "color=red:s=64x64:d=1",
        "-frames:v",
        "1",
        "-c:v",
        "mjpeg",
        "-disposition:v",
        "attached_pic",
    ]
    command = ["ffmpeg", "-v", "error", "-y", "-i", str(coded["m4a"]), *draw[:4], "-map", "0:a", "-map", "1:v"]
    subprocess.run([*command, "-c:a", "copy", *draw[4:], str(path)], check=True)
    found = analyse_file(path)
    assert found is not None
    assert found.seconds == pytest.approx(20, abs=0.1)


@pytest.mark.parametrize("suffix", CODERS)
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_damage_never_crashes(suffix: str, coded: dict[str, Path], tmp_path: Path, data: st.DataObject) -> None:
    """Bytes changed or removed anywhere: finite statistics, or an error in one sentence."""
    content = bytearray(coded[suffix].read_bytes()[:150_000])
    for _ in range(data.draw(st.integers(1, 8))):
        at = data.draw(st.integers(0, len(content) - 1) | st.integers(0, 400))
        if data.draw(st.booleans()):
            content[at] = data.draw(st.integers(0, 255))
        else:
            del content[at : at + data.draw(st.integers(1, 3000))]
    path = tmp_path / f"damaged.{suffix}"
    path.write_bytes(content)
    try:
        found = analyse_file(path)
    except RecordingError as error:
        assert "\n" not in str(error)
    else:
        assert found is not None
        assert found.bands[0].samples > 0
        assert np.isfinite(found.bands[0].energy)


def test_blocks_can_be_left_unread(coded: dict[str, Path]) -> None:
    """A track can be closed after its first block."""
    for suffix in ("flac", "m4a"):
        with open_track(coded[suffix]) as track:
            assert len(next(track.blocks)) > 0


@pytest.mark.parametrize("suffix", CODERS)
def test_samples_do_not_depend_on_buffers_or_threads(suffix: str, coded: dict[str, Path]) -> None:
    """Buffers of any length, and a thread that reads ahead, give what whole blocks give, to the last frame."""
    with open_track(coded[suffix]) as track:
        whole = np.concatenate([block.copy() for block in track.blocks])
        channels = track.channels
    for length in (777, 40_000):
        with open_track(coded[suffix]) as track:
            assert np.array_equal(_all(track.fill, length, channels), whole)
    with open_track(coded[suffix]) as track, read_ahead(track.fill, channels) as fill:
        assert np.array_equal(_all(fill, 10_001, channels), whole)
        assert fill(np.empty((8, channels), dtype=np.float32)) == 0
    if suffix in LOSSLESS:
        plain, _ = soundfile.read(coded[suffix], dtype="float32")
        assert np.array_equal(whole, plain)


def _all(fill: Fill, length: int, channels: int) -> Samples:
    """Return all frames, asked for so many at a time; only the last may be fewer."""
    found, buffer = [], np.empty((length, channels), dtype=np.float32)
    while (count := fill(buffer)) == length:
        found.append(buffer.copy())
    return np.concatenate([*found, buffer[:count]])
