"""Reading a track block by block: soundfile for WAV, AIFF, FLAC and MP3, PyAV (the extra `aac`) for AAC and Ogg.

PyAV decodes Vorbis in half the time, and libsndfile 1.2 stops in the middle of some valid Opus files; without PyAV
Vorbis is read by soundfile, and AAC and Opus are refused. The kind of a file is decided by its content, not its name. Every error is raised as a RecordingError with one sentence.
"""

from __future__ import annotations

from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.errors import RecordingError
from gainwright.harmless import reason_of
from gainwright.programme.containers import CUT_SHORT, HEAD_BYTES, LOCKED, container_problem, kind_of
from gainwright.programme.filter_layout import BLOCK

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy.typing as npt

    Samples = npt.NDArray[np.float32]
    Fill = Callable[[Samples], int]

SUFFIXES = (".wav", ".wave", ".aif", ".aiff", ".aifc", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".m4a", ".m4b", ".aac")
"""Suffixes of files that may be tracks; the content decides."""
BY_SOUNDFILE = {"wav", "aiff", "flac", "mp3"}
BY_BOTH = BY_SOUNDFILE | {"ogg"}
MISSING_AT_MOST_S = 0.2
"""Sound that may be missing at the end of a compressed file (coder delay, estimated lengths) before it counts as truncated."""
READABLE = "WAV, AIFF, FLAC, OGG, Opus, MP3 and AAC can be read"
ADD_AAC = 'python -m pip install "gainwright[aac]"'


@dataclass(frozen=True, slots=True)
class Track:
    """An open track: rate, channels, length as stated by its header (None if it isn't), and samples.

    `fill` writes the next frames into a buffer of float32, shape (frames, channels), full scale 1, and returns their
    number, which is less than the length of the buffer only at the end.
    """

    rate_hz: int
    channels: int
    seconds: float | None
    fill: Fill

    @property
    def blocks(self) -> Iterator[Samples]:
        """The remaining samples, block by block; each block is valid only until the next one is requested."""
        buffer = np.empty((BLOCK, self.channels), dtype=np.float32)
        while count := self.fill(buffer):
            yield buffer[:count]


@contextmanager
def open_track(path: Path | str) -> Iterator[Track]:
    """Open a track for reading.

    Raises
    ------
    RecordingError : missing, empty, not a sound file, damaged, truncated or encrypted; here or while its blocks are
        read.
    """
    path = Path(path)
    kind = _kind(path)
    first, second = (
        (_open_with_soundfile, _open_with_av) if kind in BY_SOUNDFILE else (_open_with_av, _open_with_soundfile)
    )
    with ExitStack() as stack:
        try:
            track = stack.enter_context(first(path))
        except RecordingError as refusal:
            if kind not in BY_BOTH:
                raise
            try:  # each library refuses some valid files that the other reads
                track = stack.enter_context(second(path))
            except RecordingError:
                raise refusal from None
        yield track


def _refused(path: Path, what: str, *, code: str = "not_audio", rule: str = "", remedy: str = "") -> RecordingError:
    return RecordingError(what, code=code, where=str(path), rule=rule, remedy=remedy)


def _kind(path: Path) -> str:
    """Return the kind of a file, refusing files that can't be read."""
    try:
        if not path.is_file():
            what = "is not a file" if path.exists() else "does not exist"
            raise _refused(path, what, code="not_readable", remedy="check the name")
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
        if not head:
            raise _refused(path, "is empty", code="empty", remedy="copy it again")
        kind = kind_of(head)
        trouble = container_problem(path, kind)
    except OSError as error:
        raise _refused(path, f"can't be read: {error.strerror}", code="not_readable") from None
    if trouble:
        mend = "a key is needed to play it" if trouble == LOCKED else "copy it again"
        raise _refused(path, trouble, code="encrypted" if trouble == LOCKED else "cut_short", remedy=mend)
    return kind


def _not_sound(path: Path, error: Exception) -> RecordingError:
    return _refused(path, f"can't be read as sound ({reason_of(error)})", rule=READABLE)


def _refuse_cut_short(path: Path, found: int, stated: int, rate_hz: int) -> None:
    if stated - found > MISSING_AT_MOST_S * rate_hz:
        stated_s, found_s = stated / rate_hz, found / rate_hz
        raise _refused(
            path, f"{CUT_SHORT}: {found_s:.1f} of {stated_s:.1f} s", code="cut_short", remedy="copy it again"
        )


@contextmanager
def _open_with_soundfile(path: Path) -> Iterator[Track]:
    import soundfile

    faults = (soundfile.LibsndfileError, RuntimeError, OSError, ValueError)

    class Forward(soundfile.SoundFile):  # type: ignore[misc]
        """A file without seeking: otherwise the library seeks after each block, which takes a third of the time for FLAC."""

        def seekable(self) -> bool:
            return False

    found = 0

    def fill(buffer: Samples) -> int:
        nonlocal found
        try:
            count = int(file.buffer_read_into(buffer, "float32"))
        except faults as error:
            raise _not_sound(path, error) from None
        found += count
        if count < len(buffer):
            _refuse_cut_short(path, found, stated, file.samplerate)
        return count

    try:
        file = Forward(path)
    except faults as error:
        raise _not_sound(path, error) from None
    with file:
        stated = _stated_frames(file)
        yield Track(file.samplerate, file.channels, stated / file.samplerate if stated else None, fill)


def _stated_frames(file: Any) -> int:
    """Return the number of frames that the header states; 0 if it states none (streams give an impossible number)."""
    return int(file.frames) if 0 < file.frames < 1 << 48 else 0


@contextmanager
def _open_with_av(path: Path) -> Iterator[Track]:
    try:
        import av
    except ImportError:
        raise _refused(
            path, "can only be read with the extra aac", code="needs_extra", rule=READABLE, remedy=ADD_AAC
        ) from None
    av.logging.set_level(None)
    faults = _av_errors()
    try:
        container = av.open(str(path), metadata_errors="ignore")
    except faults as error:
        raise _not_sound(path, error) from None
    with container:
        if not container.streams.audio or container.streams.audio[0].codec_context is None:
            raise _refused(path, "contains no sound that can be decoded", rule=READABLE)
        stream = container.streams.audio[0]
        yield Track(stream.rate, stream.codec_context.channels, _seconds(stream), _Frames(path, container, stream).fill)


class _Frames:
    """Writes a decoder's frames into buffers of any length."""

    def __init__(self, path: Path, container: Any, stream: Any) -> None:
        self._path = path
        self._rate_hz, self._channels = stream.rate, stream.codec_context.channels
        self._faults = _av_errors()
        self._frames: Iterator[Any] = container.decode(stream)
        # a raw AAC stream has only an estimated length
        self._stated = 0 if container.format.name == "aac" else round((_seconds(stream) or 0.0) * self._rate_hz)
        self._found = 0
        self._rest: Samples = np.empty((0, self._channels), dtype=np.float32)

    def fill(self, buffer: Samples) -> int:
        """Write the next frames into a buffer, and return their number."""
        room, filled, columns = len(buffer), self._put(self._rest, buffer), list(buffer.T)
        try:
            while filled < room:
                frame = next(self._frames, None)
                if frame is None:
                    _refuse_cut_short(self._path, self._found + filled, self._stated, self._rate_hz)
                    break
                if frame.sample_rate != self._rate_hz or frame.layout.nb_channels != self._channels:
                    raise _refused(self._path, "changes its sample rate or number of channels in the middle")
                count = frame.samples
                end = filled + count
                if end <= room and frame.format.name == "fltp":  # the most common format, in half the time
                    for column, plane in zip(columns, frame.planes):  # noqa: B905  (as many as channels)
                        column[filled:end] = np.frombuffer(plane, np.float32, count)
                    filled = end
                else:
                    filled += self._put(_samples(frame, self._channels), buffer[filled:])
        except self._faults as error:
            raise _not_sound(self._path, error) from None
        self._found += filled
        return filled

    def _put(self, samples: Samples, buffer: Samples) -> int:
        """Write samples into a buffer and keep those that don't fit; return the number written."""
        count = min(len(samples), len(buffer))
        buffer[:count] = samples[:count]
        self._rest = samples[count:]
        return count


def _av_errors() -> tuple[type[Exception], ...]:
    import av

    return (av.error.FFmpegError, OSError, ValueError, RuntimeError)


def _seconds(stream: Any) -> float | None:
    """Return the length stated by a stream's header, seconds, None if it isn't."""
    return float(stream.duration * stream.time_base) if stream.duration and stream.time_base else None


def _samples(frame: Any, channels: int) -> Samples:
    """Return a decoder's frame as float32 (frames, channels), full scale 1."""
    samples = frame.to_ndarray()
    frames = samples.T if frame.format.is_planar else samples.reshape(-1, channels)
    if frames.dtype.kind == "f":
        return np.asarray(frames, dtype=np.float32)
    whole = frames.astype(np.float64) - (128 if frames.dtype == np.uint8 else 0)
    return np.asarray(whole / (128 if frames.dtype == np.uint8 else -float(np.iinfo(frames.dtype).min)), np.float32)
