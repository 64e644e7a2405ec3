"""A recording that is read from its file piece by piece, so that its length doesn't matter for the memory that measuring takes."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.metering.recording import check_format, sound_file_at, unreadable

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from typing import IO

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

PIECE_SAMPLES = 262_144
"""Samples of all channels together that are read at once where only one channel of them is wanted."""
NOT_SOUGHT = ("MP3",)
"""Formats whose decoder finds a place only roughly: they are read through to it."""


class RecordingFile:
    """An open sound file, for `measure`; it is read anew for every channel.

    Parameters
    ----------
    file : a `soundfile.SoundFile`.
    """

    def __init__(self, file: Any, name: str) -> None:
        self._file, self.name = file, name
        self.rate_hz, self.channels = int(file.samplerate), int(file.channels)
        check_format(self.rate_hz, self.channels, name)

    def pieces(self, frames: int) -> Iterator[Floats]:
        """Yield the samples in pieces of `frames` frames, the last one shorter; shape (frames, channels).

        Raises
        ------
        RecordingError : it is damaged.
        """
        self._go_to(0)
        while len(piece := self._next(frames)):
            yield piece

    def part(self, channel: int, begin: int, end: int) -> Floats:
        """Return the samples of a channel (from 0) between two frames, shape (end - begin,). RecordingError: it is damaged."""
        found, place = np.zeros(end - begin), 0
        self._go_to(begin)
        while place < len(found) and len(
            piece := self._next(min(max(1, PIECE_SAMPLES // self.channels), len(found) - place))
        ):
            found[place : place + len(piece)] = piece[:, channel]
            place += len(piece)
        return found

    def _next(self, frames: int) -> Floats:
        import soundfile

        try:
            return np.asarray(self._file.read(frames, dtype="float64", always_2d=True))
        except (soundfile.LibsndfileError, RuntimeError, OSError, ValueError, MemoryError) as error:
            raise unreadable(error, self.name) from None

    def _go_to(self, frame: int) -> None:
        import soundfile

        sought = frame if self._file.format not in NOT_SOUGHT else 0
        try:
            self._file.seek(sought)
        except (soundfile.LibsndfileError, RuntimeError, OSError, ValueError) as error:
            raise unreadable(error, self.name) from None
        while sought < frame and (read := len(self._next(min(PIECE_SAMPLES // self.channels, frame - sought)))):
            sought += read


@contextmanager
def opened_recording(source: Path | str | IO[bytes], *, name: str = "") -> Iterator[RecordingFile]:
    """Open a WAV, FLAC, OGG, MP3 or AIFF file, which is closed after the block; a file that was open stays so.

    Raises
    ------
    RecordingError : missing, empty, not a sound file, or of a rate or number of channels that no recording of sound has.
    """
    import soundfile

    at = source if hasattr(source, "read") else sound_file_at(source)
    name = name or str(source)
    if at is source:
        at.seek(0)  # type: ignore[union-attr]
    try:
        file = soundfile.SoundFile(at)
    except (soundfile.LibsndfileError, RuntimeError, OSError, ValueError) as error:
        raise unreadable(error, name) from None
    with file:
        yield RecordingFile(file, name)
