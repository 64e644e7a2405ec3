"""Decoding of untrusted sound files in a child process with limited time and memory."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
from typing import IO, TYPE_CHECKING, Any

from gainwright.adapters.child_processes import child_environment
from gainwright.app.measuring.recording_limits import LONGEST_S, MOST_SAMPLES
from gainwright.errors import RecordingError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

CPU_SECONDS, WALL_SECONDS = 20, 60.0
MEMORY_BYTES = 400_000_000
"""Addresses, of which libraries reserve more than they use: 50 MB are in memory, whatever the length of the file."""
EMPTY: Any = {"prefix": "gainwright-", "ignore_cleanup_errors": True}
BEGINS = (b"RIFF", b"RIFX", b"RF64", b"fLaC", b"OggS", b"FORM", b"ID3")
"""First bytes of WAV, FLAC, OGG, AIFF, and of MP3 with a tag before it."""
TIMED_OUT = RecordingError(
    say("takes too long to read"),
    code="too_slow",
    rule=say("a recording of a few minutes is enough"),
    remedy=say("shorten it, or convert it to WAV"),
)


class GuardedSoundFiles:
    """Decodes in a child process."""

    def __init__(
        self,
        *,
        most_samples: int = MOST_SAMPLES,
        longest_s: int = LONGEST_S,
        cpu_seconds: int = CPU_SECONDS,
        wall_seconds: float = WALL_SECONDS,
        memory_bytes: int = MEMORY_BYTES,
    ) -> None:
        self._limits = tuple(str(v) for v in (cpu_seconds, memory_bytes, most_samples, longest_s))
        self._wall_seconds = wall_seconds

    def scratch(self) -> IO[bytes]:
        """Return an empty file on the disk, without a name where the system allows; it is gone when it is closed."""
        return tempfile.TemporaryFile()

    def to_wav(self, source: IO[bytes], into: IO[bytes], *, name: str) -> None:
        """Write the samples of a file as a new WAV file of 32-bit floats; neither is ever whole in memory.

        Parameters
        ----------
        source : the file, at any place of it.
        into : an empty file of the system, open for reading and writing.

        Raises
        ------
        RecordingError : it is not a sound file, too long, damaged, or took too much time or memory.
        """
        source.seek(0)
        head = source.read(4)
        if not head:
            raise RecordingError(say("is empty"), code="empty", where=name, remedy=say("record again"))
        if not looks_like_sound(head):
            raise RecordingError(
                say("is not a sound file, whatever its name says"),
                code="not_audio",
                where=name,
                rule=say("WAV, FLAC, OGG, MP3 and AIFF can be read"),
                remedy=say("record again, or convert it"),
            )
        with _on_the_disk(source) as file, tempfile.TemporaryDirectory(**EMPTY) as empty:
            os.lseek(file.fileno(), 0, os.SEEK_SET)
            try:
                done = subprocess.run(  # noqa: S603  our own module, numbers for arguments
                    (sys.executable, "-P", "-m", "gainwright.adapters.decoding_child", *self._limits),
                    stdin=file,
                    stdout=into,
                    stderr=subprocess.PIPE,
                    timeout=self._wall_seconds,
                    env=child_environment(),
                    cwd=empty,
                    check=False,
                )
            except subprocess.TimeoutExpired:
                raise TIMED_OUT.with_place(name) from None
        if done.returncode != 0:
            raise _child_error(done.returncode, done.stderr).with_place(name)


@contextlib.contextmanager
def _on_the_disk(source: IO[bytes]) -> Iterator[IO[bytes]]:
    """Yield a file of the system with the same content: the source itself where it is one."""
    try:
        source.fileno()
    except (OSError, AttributeError):
        with tempfile.TemporaryFile() as copy:
            source.seek(0)
            shutil.copyfileobj(source, copy)
            copy.flush()
            yield copy
    else:
        source.flush()
        yield source


def looks_like_sound(content: bytes) -> bool:
    """Return whether a file begins like one of the supported kinds; MP3 without a tag begins with eleven set bits."""
    return content.startswith(BEGINS) or (len(content) > 1 and content[0] == 0xFF and content[1] & 0xE0 == 0xE0)


def _child_error(status: int, stderr: bytes) -> RecordingError:
    """Return the error of a child process that failed: from its message, or from its exit status."""
    try:
        error = json.loads(stderr.splitlines()[-1]) if status > 0 else {}
        return RecordingError(str(error["what"]), code=str(error["code"]), remedy=str(error["remedy"]))
    except (ValueError, KeyError, TypeError, IndexError):
        pass
    if status in (-9, -24):  # SIGKILL, SIGXCPU: the limit of its time
        return TIMED_OUT
    return RecordingError(
        say("can't be read as sound: it is damaged or manipulated"),
        code="not_audio",
        remedy=say("record again, or convert it"),
    )
