"""Read recordings into samples, and refuse those that can't be measured."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from gainwright.errors import RecordingError
from gainwright.texts import say

if TYPE_CHECKING:
    import numpy.typing as npt

LONGEST_SAMPLES = 4_000_000_000 // 8
"""Samples of all channels together that are read into memory (4 GB)."""


@dataclass(frozen=True, slots=True)
class Recording:
    """Samples re digital full scale (peak 1), shape (frames, channels), and their rate."""

    samples: npt.NDArray[np.float64]
    rate_hz: int
    name: str = "recording"

    @property
    def channels(self) -> int:
        """Number of channels."""
        return int(self.samples.shape[1])


def read_recording(path: Path | str) -> Recording:
    """Read a WAV, FLAC, OGG, MP3 or AIFF file.

    Raises
    ------
    RecordingError : missing, empty, not a sound file, damaged, too large, or with samples that aren't numbers.
    """
    path = Path(path)
    where = str(path)
    try:
        if path.is_dir():
            raise RecordingError(
                say("is a folder"), code="not_a_file", where=where, remedy=say("name a recording in it")
            )
        size = path.stat().st_size
    except OSError as error:
        raise RecordingError(
            say("can't be read: {strerror}", strerror=error.strerror),
            code="not_readable",
            where=where,
            remedy=say("check the name"),
        ) from None
    if size == 0:
        raise RecordingError(say("is empty"), code="empty", where=where, remedy=say("record again"))
    return _read(path, where)


def read_recording_bytes(content: bytes, *, name: str) -> Recording:
    """Read the content of a WAV, FLAC, OGG, MP3 or AIFF file.

    Raises
    ------
    RecordingError : as `read_recording`.
    """
    if not content:
        raise RecordingError(say("is empty"), code="empty", where=name, remedy=say("record again"))
    return _read(io.BytesIO(content), name)


def _read(source: Path | io.BytesIO, where: str) -> Recording:
    import soundfile

    try:
        with soundfile.SoundFile(source) as file:
            if file.frames * file.channels > LONGEST_SAMPLES:
                raise RecordingError(
                    say("is too long"), code="too_large", where=where, remedy=say("cut the steady tone out of it")
                )
            samples = file.read(dtype="float64", always_2d=True)
            rate_hz = int(file.samplerate)
    except (soundfile.LibsndfileError, RuntimeError, OSError, ValueError, MemoryError) as error:
        text = str(error).split(":")[-1].strip().rstrip(".") or type(error).__name__
        raise RecordingError(
            say("can't be read as sound ({text})", text=text),
            code="not_audio",
            where=where,
            rule=say("WAV, FLAC, OGG, MP3 and AIFF can be read"),
            remedy=say("record again, or convert it"),
        ) from None
    return require_finite(Recording(samples, rate_hz, where))


def require_finite(recording: Recording) -> Recording:
    """Return the recording if all its samples are finite.

    Raises
    ------
    RecordingError : none, or some that are NaN or infinite.
    """
    if recording.samples.size == 0:
        raise RecordingError(say("contains no samples"), code="empty", where=recording.name, remedy=say("record again"))
    # The sum is finite unless a sample is not; only then is its place searched.
    if not np.isfinite(np.sum(recording.samples)):
        bad = np.argwhere(~np.isfinite(recording.samples))
        if len(bad):
            frame, channel = bad[0]
            raise RecordingError(
                say(
                    "sample {frame} ({frame2} s) of channel {channel} is not a number",
                    frame=frame,
                    frame2=f"{frame / recording.rate_hz:.3f}",
                    channel=channel + 1,
                ),
                code="not_finite",
                where=recording.name,
                remedy=say("record again; this file is damaged"),
            )
    return recording
