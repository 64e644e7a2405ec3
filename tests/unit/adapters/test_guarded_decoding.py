"""Sound files of unknown origin: decoded in a child process, or refused with one sentence, whatever they contain."""

from __future__ import annotations

import io
import struct
import tempfile
from typing import Any

import numpy as np
import pytest
import soundfile
from decoded import as_wav

from gainwright.adapters.guarded_decoding import GuardedSoundFiles, looks_like_sound
from gainwright.errors import RecordingError

RATE_HZ = 48_000
FORMATS = [
    ("WAV", "PCM_16"),
    ("WAV", "PCM_24"),
    ("WAV", "FLOAT"),
    ("RF64", "PCM_24"),
    ("FLAC", "PCM_24"),
    ("AIFF", "PCM_16"),
    ("OGG", "VORBIS"),
    ("MP3", "MPEG_LAYER_III"),
]
LOSSLESS = {"PCM_16", "PCM_24", "FLOAT"}


def tone(seconds: float = 1.0) -> np.ndarray:
    """Return a tone in two channels."""
    wave = 0.5 * np.sin(2 * np.pi * 997 * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)
    return np.stack([wave, -0.5 * wave], axis=1)


def written(samples: np.ndarray, kind: str = "WAV", subtype: str = "PCM_24") -> bytes:
    """Return a sound file."""
    into = io.BytesIO()
    soundfile.write(into, samples, RATE_HZ, format=kind, subtype=subtype)
    return into.getvalue()


def header(*, frames: int, data: bytes = b"", channels: int = 1) -> bytes:
    """Return a 16-bit WAV file whose header claims another length."""
    told = min(2 * channels * frames, 2**32 - 1)
    form = struct.pack("<IHHIIHH", 16, 1, channels, RATE_HZ, 2 * RATE_HZ, 2 * channels % 2**16, 16)
    return b"RIFF" + struct.pack("<I", min(36 + told, 2**32 - 1)) + b"WAVEfmt " + form + b"data" + struct.pack("<I", told) + data  # fmt: skip


def bomb(seconds: int) -> bytes:
    """Return a FLAC file of silence, some bytes a second."""
    into = io.BytesIO()
    with soundfile.SoundFile(into, "w", RATE_HZ, 8, format="FLAC", subtype="PCM_16") as file:
        for _ in range(seconds):
            file.write(np.zeros((RATE_HZ, 8), np.int16))
    return into.getvalue()


@pytest.mark.parametrize(("kind", "subtype"), FORMATS)
def test_every_format_is_decoded(kind: str, subtype: str) -> None:
    """What libsndfile itself reads of the file is returned as 32-bit float, sample for sample."""
    content = written(tone(), kind, subtype)
    wav = as_wav(content, name="a")
    with soundfile.SoundFile(io.BytesIO(wav)) as file:
        assert (file.format, file.subtype, file.samplerate) == ("WAV", "FLOAT", RATE_HZ)
        got = file.read(dtype="float32", always_2d=True)
    direct, _ = soundfile.read(io.BytesIO(content), dtype="float32", always_2d=True)
    assert np.array_equal(got, direct)
    if subtype in LOSSLESS:
        assert np.max(np.abs(got - tone())) < (4e-5 if subtype == "PCM_16" else 2e-7)


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "empty"),
        (b"hello, this is text", "not_audio"),
        (b"PK\x03\x04" + bytes(100), "not_audio"),
        (b"RIFF", "not_audio"),
        (b"RIFFxxxxWAVE" + bytes(300), "not_audio"),
        (b"fLaC" + bytes(1000), "not_audio"),
        (b"OggS" + bytes(range(256)) * 20, "not_audio"),
        (b"\xff\xfb" + bytes(range(256)) * 100, "not_audio"),
        (b"FORM" + bytes(100), "not_audio"),
        (header(frames=0), "empty"),
        (header(frames=10**9), "empty"),
        (header(frames=100, data=bytes(200), channels=65_535), None),
        (written(np.array([[0.0], [np.nan], [0.0]]), subtype="FLOAT"), "not_finite"),
        (written(np.array([[0.0], [np.inf], [0.0]]), subtype="FLOAT"), "not_finite"),
        (written(np.array([[0.0], [1e300], [0.0]]), subtype="DOUBLE"), "not_finite"),
        (written(np.zeros((10, 17))), "not_audio"),
        (written(tone(), "FLAC")[:-2000], None),
    ],
    ids=[f"case {i}" for i in range(17)],  # the contents hold the time when they were made
)
def test_invalid_recording_gives_one_sentence(content: bytes, code: str | None) -> None:
    """Each is refused as its kind requires, or read as far as possible; never a crash, never internal details."""
    try:
        wav = as_wav(content, name="x.wav")
    except RecordingError as error:
        assert code is None or error.code == code
        assert str(error).startswith("x.wav: ")
        assert not any(word in str(error) for word in ("Traceback", "Error", "libsndfile", "/"))
    else:
        assert code is None
        soundfile.read(io.BytesIO(wav))


def test_long_file_is_refused_by_its_header() -> None:
    """Ten minutes of eight channels: refused even if all but the beginning of its data is missing."""
    content = bomb(600)
    assert len(content) < 1_000_000
    for given in (content, content[:8192]):
        with pytest.raises(RecordingError, match="is too long") as caught:
            as_wav(given, name="bomb")
        assert caught.value.code == "too_large"


def test_child_over_its_limits_is_killed() -> None:
    """Elapsed time, processor time: both with a message. Over an hour of eight channels, all a hole on the disk, takes any machine more than a second."""
    with pytest.raises(RecordingError, match="takes too long"):
        as_wav(written(tone()), name="a", wall_seconds=0.05)
    frames = 5000 * RATE_HZ
    hurried = GuardedSoundFiles(cpu_seconds=1, most_samples=10**10, longest_s=10**4, memory_bytes=8 * 10**9)
    with tempfile.TemporaryFile() as source, tempfile.TemporaryFile() as into:
        begins = header(frames=frames, channels=8)
        source.write(begins)
        source.truncate(len(begins) + 16 * frames)
        with pytest.raises(RecordingError, match="takes too long"):
            hurried.to_wav(source, into, name="a")


def test_longest_file_takes_no_more_memory_than_a_short_one() -> None:
    """Thirty seconds of eight channels, 46 MB of samples, pass through 200 MB of addresses, most of which are the interpreter's and its libraries'."""
    assert len(as_wav(bomb(30), memory_bytes=200_000_000)) > 46_000_000


@pytest.mark.parametrize(
    ("given", "said"), [({"most_samples": 100_000}, "0.0 minutes"), ({"longest_s": 0}, "0.0 minutes")]
)
def test_length_is_limited_in_samples_and_in_seconds(given: dict[str, Any], said: str) -> None:
    """Whichever is shorter; the limit is said."""
    with pytest.raises(RecordingError, match=said):
        as_wav(written(tone(2.0)), **given)


def test_wrong_sample_count_in_the_header_is_harmless() -> None:
    """A file that claims a thousand million samples and has a hundred gives a hundred."""
    wav = as_wav(header(frames=10**9, data=b"\x00\x40" * 100), name="a")
    samples, _ = soundfile.read(io.BytesIO(wav))
    assert samples.tolist() == [0.5] * 100


@pytest.mark.parametrize(
    ("begin", "is_sound"),
    [(b"RIFF", True), (b"\xff\xfb", True), (b"\xff\x1b", False), (b"\xff", False), (b"%PDF", False), (b"ID3", True)],
)
def test_format_is_recognised_by_content(begin: bytes, *, is_sound: bool) -> None:
    """By its first bytes, whatever the name."""
    assert looks_like_sound(begin) is is_sound
