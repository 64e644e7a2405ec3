"""Reading a track block by block: soundfile for WAV, AIFF, FLAC and MP3, PyAV for AAC and Ogg.

PyAV decodes Vorbis in half the time; libsndfile 1.2 gives up in the middle of some sound Opus files.

What a file is, its content says, not its name. Whatever is wrong with it becomes a RecordingError of one sentence.
"""

from __future__ import annotations

from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.errors import RecordingError
from gainwright.programme.arrangement import BLOCK
from gainwright.programme.containers import CUT_SHORT, HEAD_BYTES, LOCKED, kind_of, trouble_with

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    Samples = npt.NDArray[np.float32]

SUFFIXES = (".wav", ".wave", ".aif", ".aiff", ".aifc", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".m4a", ".m4b", ".aac")
"""Names that a track has; what is in it is looked at."""
BY_SOUNDFILE = {"wav", "aiff", "flac", "mp3"}
BY_BOTH = BY_SOUNDFILE | {"ogg"}
MISSING_AT_MOST_S = 0.2
"""Sound that may be missing at the end of a compressed file before it counts as cut short: delay of coders and estimates."""
READABLE = "WAV, AIFF, FLAC, OGG, Opus, MP3 and AAC are"


@dataclass(frozen=True, slots=True)
class Track:
    """A track that is open: its rate and channels, its length as its head says (None: it doesn't), and its blocks.

    `blocks` are float32 (frames, channels), full scale 1; each is only good until the next is asked for.
    """

    rate_hz: int
    channels: int
    seconds: float | None
    blocks: Iterator[Samples]


@contextmanager
def open_track(path: Path | str) -> Iterator[Track]:
    """Open a track for reading.

    Raises
    ------
    RecordingError : missing, empty, no sound, damaged, cut short, encrypted; here or while its blocks are read.
    """
    path = Path(path)
    kind = _kind(path)
    first, second = (_by_soundfile, _by_av) if kind in BY_SOUNDFILE else (_by_av, _by_soundfile)
    with ExitStack() as stack:
        try:
            track = stack.enter_context(first(path))
        except RecordingError as refusal:
            if kind not in BY_BOTH:
                raise
            try:  # each library refuses some sound files that the other reads
                track = stack.enter_context(second(path))
            except RecordingError:
                raise refusal from None
        yield track


def _refused(path: Path, what: str, *, code: str = "not_audio", rule: str = "", remedy: str = "") -> RecordingError:
    return RecordingError(what, code=code, where=str(path), rule=rule, remedy=remedy)


def _kind(path: Path) -> str:
    """Return what a file is, refusing what can't be read."""
    try:
        if not path.is_file():
            what = "is no file" if path.exists() else "is not there"
            raise _refused(path, what, code="not_readable", remedy="check the name")
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
        if not head:
            raise _refused(path, "is empty", code="empty", remedy="copy it anew")
        kind = kind_of(head)
        trouble = trouble_with(path, kind)
    except OSError as error:
        raise _refused(path, f"can't be read: {error.strerror}", code="not_readable") from None
    if trouble:
        mend = "a key is needed to play it" if trouble == LOCKED else "copy it anew"
        raise _refused(path, trouble, code="encrypted" if trouble == LOCKED else "cut_short", remedy=mend)
    return kind


def _not_sound(path: Path, error: Exception) -> RecordingError:
    text = str(error).split(":")[-1].strip().rstrip(".") or type(error).__name__
    return _refused(path, f"can't be read as sound ({text})", rule=READABLE)


def _check_length(path: Path, found: int, told: int, rate_hz: int) -> None:
    if told - found > MISSING_AT_MOST_S * rate_hz:
        told_s, found_s = told / rate_hz, found / rate_hz
        raise _refused(path, f"{CUT_SHORT}: {found_s:.1f} of {told_s:.1f} s", code="cut_short", remedy="copy it anew")


@contextmanager
def _by_soundfile(path: Path) -> Iterator[Track]:
    import soundfile

    faults = (soundfile.LibsndfileError, RuntimeError, OSError, ValueError)

    def blocks(file: Any) -> Iterator[Samples]:
        buffers = [np.empty((BLOCK, file.channels), dtype=np.float32) for _ in range(2)]
        found = turn = 0
        while True:
            try:
                block = file.read(out=buffers[turn], always_2d=True)
            except faults as error:
                raise _not_sound(path, error) from None
            if not len(block):
                break
            found += len(block)
            turn = 1 - turn
            yield block
        _check_length(path, found, _told(file), file.samplerate)

    try:
        file = soundfile.SoundFile(path)
    except faults as error:
        raise _not_sound(path, error) from None
    with file:
        told = _told(file)
        yield Track(file.samplerate, file.channels, told / file.samplerate if told else None, blocks(file))


def _told(file: Any) -> int:
    """Return the frames that a head tells; 0 when it doesn't (a stream says a number past all sense)."""
    return int(file.frames) if 0 < file.frames < 1 << 48 else 0


@contextmanager
def _by_av(path: Path) -> Iterator[Track]:
    import av

    av.logging.set_level(None)
    faults = (av.error.FFmpegError, OSError, ValueError, RuntimeError)

    def blocks(container: Any, stream: Any) -> Iterator[Samples]:
        found, used, rate_hz, channels = 0, 0, stream.rate, stream.codec_context.channels
        buffer = np.empty((BLOCK, channels), dtype=np.float32)
        try:
            for frame in container.decode(stream):
                count = frame.samples
                if frame.sample_rate != rate_hz or frame.layout.nb_channels != channels:
                    raise _refused(path, "changes its rate or channels on the way")
                if used + count > BLOCK:
                    yield buffer[:used]
                    used = 0
                if count > BLOCK:
                    buffer = np.empty((count, channels), dtype=np.float32)
                _copy_frame(frame, buffer[used : used + count])
                used += count
                found += count
        except faults as error:
            raise _not_sound(path, error) from None
        yield buffer[:used]
        if container.format.name != "aac":  # a bare stream only has an estimate
            _check_length(path, found, round((_seconds(stream) or 0.0) * rate_hz), rate_hz)

    try:
        container = av.open(str(path), metadata_errors="ignore")
    except faults as error:
        raise _not_sound(path, error) from None
    with container:
        if not container.streams.audio or container.streams.audio[0].codec_context is None:
            raise _refused(path, "holds no sound that can be decoded", rule=READABLE)
        stream = container.streams.audio[0]
        yield Track(stream.rate, stream.codec_context.channels, _seconds(stream), blocks(container, stream))


def _seconds(stream: Any) -> float | None:
    """Return the length that a stream's head tells."""
    return float(stream.duration * stream.time_base) if stream.duration and stream.time_base else None


def _copy_frame(frame: Any, into: Samples) -> None:
    """Copy a decoder's frame to where its block is put together."""
    if frame.format.name == "fltp":
        for channel, plane in enumerate(frame.planes):
            into[:, channel] = np.frombuffer(plane, dtype=np.float32, count=len(into))
    else:
        into[:] = _as_float32(frame.to_ndarray(), into.shape[1], planar=frame.format.is_planar)


def _as_float32(samples: npt.NDArray[Any], channels: int, *, planar: bool) -> Samples:
    """Return a decoder's samples as (frames, channels), full scale 1."""
    frames = samples.T if planar else samples.reshape(-1, channels)
    if frames.dtype.kind == "f":
        return frames.astype(np.float32, copy=False)
    whole = frames.astype(np.float64) - (128 if frames.dtype == np.uint8 else 0)
    return np.asarray(whole / (128 if frames.dtype == np.uint8 else -float(np.iinfo(frames.dtype).min)), np.float32)
