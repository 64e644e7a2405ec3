"""A recording measured from its file piece by piece gives what it gives in memory, however long it is."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from gainwright.errors import RecordingError
from gainwright.metering import (
    Measurement,
    RecordingFile,
    measure,
    opened_recording,
    read_recording,
    recording,
    recording_file,
    steady_stretch,
)
from gainwright.results import to_json

if TYPE_CHECKING:
    from pathlib import Path

RATE_HZ = 8_000


@pytest.fixture(autouse=True)
def largest(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Make the pieces small; note how many frames are read at once."""
    asked: list[int] = []

    def noted(self: RecordingFile, frames: int, read: object = RecordingFile._next) -> np.ndarray:
        asked.append(frames)
        return read(self, frames)  # type: ignore[operator, no-any-return]

    monkeypatch.setattr(steady_stretch, "PIECE_SAMPLES", 4_000)
    monkeypatch.setattr(recording_file, "PIECE_SAMPLES", 3_000)
    monkeypatch.setattr(RecordingFile, "_next", noted)
    return asked


def sound(seconds: float) -> np.ndarray:
    """Return a tone between pauses in one channel, clipped in the other."""
    count = round(seconds * RATE_HZ)
    tone = np.sin(2 * np.pi * 440 * np.arange(count) / RATE_HZ) + 0.001 * np.random.default_rng(3).normal(size=count)
    tone[: count // 10] = tone[-count // 7 :] = 0.0
    return np.stack([0.4 * tone, np.clip(tone, -0.6, 0.6)], axis=1)


def from_file(path: Path) -> Measurement:
    """Measure a file piece by piece."""
    with opened_recording(path) as recording:
        return measure(recording, calibrate_v=2.0)


def rounded(found: Measurement, digits: int) -> object:
    """Return a result as JSON with numbers of so many digits."""
    return json.loads(json.dumps(to_json(found)), parse_float=lambda text: f"{float(text):.{digits}g}")


@pytest.mark.parametrize(
    ("name", "kind", "digits"),
    [("a.wav", "FLOAT", 12), ("a.flac", "PCM_16", 12), ("a.mp3", None, 4), ("a.ogg", None, 12)],
)
def test_pieces_of_a_file_are_measured_as_the_whole(
    tmp_path: Path, largest: list[int], name: str, kind: str | None, digits: int
) -> None:
    """Every figure of both channels; never more than a piece is read (once the whole file)."""
    soundfile.write(tmp_path / name, sound(3.0), RATE_HZ, subtype=kind)
    whole = measure(read_recording(tmp_path / name), calibrate_v=2.0)
    found = from_file(tmp_path / name)
    assert rounded(found, digits) == rounded(
        whole, digits
    )  # a decoder of MP3 that goes back rounds its first samples otherwise
    assert max(largest) <= 2_000


def test_of_a_very_long_tone_the_middle_is_measured(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As long as is needed, whatever the file's length."""
    monkeypatch.setattr(steady_stretch, "MOST_FRAMES", RATE_HZ)
    soundfile.write(tmp_path / "long.wav", sound(4.0), RATE_HZ, subtype="FLOAT")
    found = from_file(tmp_path / "long.wav").channels
    assert [channel.seconds for channel in found] == [1.0, 1.0]
    assert [channel.verdict for channel in found] == ["clean", "clipped"]
    assert found[0].frequency_hz == pytest.approx(440, abs=0.01)


def test_a_sample_that_is_no_number_is_told_with_its_place(tmp_path: Path) -> None:
    """In the second of several pieces."""
    samples = sound(3.0)
    samples[5_000, 1] = np.nan
    soundfile.write(tmp_path / "bad.wav", samples, RATE_HZ, subtype="FLOAT")
    with pytest.raises(RecordingError, match=r"sample 5000 \(0.625 s\) of channel 2"):
        from_file(tmp_path / "bad.wav")


def test_what_does_not_fit_into_memory_is_refused_before_it_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Noise, onset and responses examine the whole sound at once; the tone of the same file is measured in pieces."""
    monkeypatch.setattr(recording, "LONGEST_SAMPLES", 30 * RATE_HZ)
    name = tmp_path / "long.wav"
    soundfile.write(name, np.tile(0.5 * np.sin(2 * np.pi * 440 * np.arange(RATE_HZ) / RATE_HZ), 31), RATE_HZ)
    with pytest.raises(RecordingError, match=r"is 31 s long; at its rate .* 30 s can be examined; cut the part"):
        read_recording(name)
    assert from_file(name).channels[0].frequency_hz == pytest.approx(440, abs=0.01)


def test_files_without_sound_are_refused(tmp_path: Path) -> None:
    """Missing, empty, text, and a header without samples."""
    (tmp_path / "empty.wav").touch()
    (tmp_path / "text.wav").write_text("no sound")
    soundfile.write(tmp_path / "none.wav", np.zeros((0, 1)), RATE_HZ)
    for name, code in (("missing", "not_readable"), ("empty", "empty"), ("text", "not_audio"), ("none", "empty")):
        with pytest.raises(RecordingError) as caught:
            from_file(tmp_path / f"{name}.wav")
        assert caught.value.code == code
