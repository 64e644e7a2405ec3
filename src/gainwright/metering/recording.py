"""Read recordings into samples, and refuse those that can't be measured."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from gainwright.errors import RecordingError
from gainwright.harmless import reason_of
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import IO

    import numpy.typing as npt

LONGEST_SAMPLES = 50_000_000
"""Samples of all channels together that are read into memory (400 MB); `measure` reads in pieces and has no such limit."""
LOWEST_RATE_HZ, HIGHEST_RATE_HZ, MOST_CHANNELS = 1000, 1_000_000, 64
LARGEST_SAMPLE = 1e12
"""Re full scale: a file of floating-point numbers may hold integers, but its squares must be numbers."""


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

    def pieces(self, frames: int) -> Iterator[npt.NDArray[np.float64]]:
        """Yield the samples in pieces of `frames` frames, the last one shorter; shape (frames, channels)."""
        for begin in range(0, len(self.samples), frames):
            yield self.samples[begin : begin + frames]

    def part(self, channel: int, begin: int, end: int) -> npt.NDArray[np.float64]:
        """Return the samples of a channel (from 0) between two frames, shape (end - begin,)."""
        return np.ascontiguousarray(self.samples[begin:end, channel])


def read_recording(path: Path | str) -> Recording:
    """Read a WAV, FLAC, OGG, MP3 or AIFF file.

    Raises
    ------
    RecordingError : missing, empty, not a sound file, damaged, too large, or with samples that aren't numbers.
    """
    return _read(sound_file_at(path), str(path))


def sound_file_at(path: Path | str) -> Path:
    """Return the path of a file that isn't empty. RecordingError: it is missing, empty or a folder."""
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
    return path


def read_recording_bytes(content: bytes, *, name: str) -> Recording:
    """Read the content of a WAV, FLAC, OGG, MP3 or AIFF file.

    Raises
    ------
    RecordingError : as `read_recording`.
    """
    if not content:
        raise RecordingError(say("is empty"), code="empty", where=name, remedy=say("record again"))
    return _read(_MemoryFile(content), name)


class _MemoryFile(io.BytesIO):
    """A file in memory; a damaged one may ask for a place before its beginning, which stays where it is."""

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        try:
            return super().seek(offset, whence)
        except ValueError:
            return self.tell()


def check_format(rate_hz: int, channels: int, where: str) -> None:
    """Refuse a header that no recording of sound has. RecordingError: it is one."""
    if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        raise RecordingError(
            say("has a sampling rate of {rate} Hz", rate=rate_hz),
            code="bad_rate",
            where=where,
            rule=say("{low} Hz to {high} Hz can be measured", low=LOWEST_RATE_HZ, high=HIGHEST_RATE_HZ),
            remedy=say("record again at 44.1 or 48 kHz"),
        )
    if channels > MOST_CHANNELS:
        raise RecordingError(
            say("has {number} channels", number=channels),
            code="too_large",
            where=where,
            rule=say("at most {most} can be measured", most=MOST_CHANNELS),
            remedy=say("record again, or convert it"),
        )


def too_long(frames: int, rate_hz: int, channels: int, where: str) -> RecordingError:
    """Return the refusal of a recording that doesn't fit into memory."""
    return RecordingError(
        say("is {seconds} s long", seconds=-(-frames // rate_hz)),
        code="too_large",
        where=where,
        rule=say(
            "at its rate and number of channels {most} s can be examined",
            most=LONGEST_SAMPLES // (rate_hz * channels),
        ),
        remedy=say("cut the part out of it that matters"),
    )


def _read(source: Path | IO[bytes], where: str) -> Recording:
    import soundfile

    try:
        with soundfile.SoundFile(source) as file:
            check_format(int(file.samplerate), int(file.channels), where)
            if file.frames * file.channels > LONGEST_SAMPLES:
                raise too_long(file.frames, int(file.samplerate), int(file.channels), where)
            samples = file.read(dtype="float64", always_2d=True)
            rate_hz = int(file.samplerate)
    except (soundfile.LibsndfileError, RuntimeError, OSError, ValueError, MemoryError) as error:
        raise unreadable(error, where) from None
    return require_finite(Recording(samples, rate_hz, where))


def unreadable(error: Exception, where: str) -> RecordingError:
    """Return the refusal of a file that the library of sound files can't read."""
    return RecordingError(
        say("can't be read as sound ({text})", text=reason_of(error)),
        code="not_audio",
        where=where,
        rule=say("WAV, FLAC, OGG, MP3 and AIFF can be read"),
        remedy=say("record again, or convert it"),
    )


def require_finite(recording: Recording) -> Recording:
    """Return the recording if all its samples are numbers that a recording can have.

    Raises
    ------
    RecordingError : none, or some that are NaN, infinite or far beyond full scale.
    """
    if recording.samples.size == 0:
        raise no_samples(recording.name)
    peaks(recording.samples, rate_hz=recording.rate_hz, name=recording.name)
    return recording


def no_samples(name: str) -> RecordingError:
    """Return the refusal of a recording without samples."""
    return RecordingError(say("contains no samples"), code="empty", where=name, remedy=say("record again"))


def peaks(piece: npt.NDArray[np.float64], *, rate_hz: int, name: str, first: int = 0) -> npt.NDArray[np.float64]:
    """Return the largest absolute sample of each channel of a piece, shape (frames, channels), that begins at the frame `first`.

    Raises
    ------
    RecordingError : samples that are NaN, infinite or far beyond full scale.
    """
    found = np.maximum(np.max(piece, axis=0), -np.min(piece, axis=0))
    peak = float(np.max(found))
    if not np.isfinite(peak):
        frame, channel = np.argwhere(~np.isfinite(piece))[0]
        frame += first
        raise RecordingError(
            say(
                "sample {frame} ({frame2} s) of channel {channel} is not a number",
                frame=frame,
                frame2=f"{frame / rate_hz:.3f}",
                channel=channel + 1,
            ),
            code="not_finite",
            where=name,
            remedy=say("record again; this file is damaged"),
        )
    if peak > LARGEST_SAMPLE:
        raise RecordingError(
            say("its largest sample is {times} times full scale", times=f"{peak:.3g}"),
            code="not_finite",
            where=name,
            rule=say("at most {most} times full scale can be measured", most=f"{LARGEST_SAMPLE:g}"),
            remedy=say("record again; this file is damaged"),
        )
    return np.asarray(found)
