"""Decoding of untrusted sound files in a child process with limited time and memory."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile

from gainwright.adapters.child_processes import child_environment
from gainwright.errors import RecordingError
from gainwright.texts import say

MOST_SAMPLES = 30_000_000
"""Samples of all channels together: five minutes of two channels at 48 kHz."""
CPU_SECONDS, WALL_SECONDS = 20, 60.0
MEMORY_BYTES = 1_500_000_000
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
        cpu_seconds: int = CPU_SECONDS,
        wall_seconds: float = WALL_SECONDS,
        memory_bytes: int = MEMORY_BYTES,
    ) -> None:
        self._limits = tuple(str(v) for v in (cpu_seconds, memory_bytes, most_samples))
        self._wall_seconds = wall_seconds

    def as_wav(self, content: bytes, *, name: str) -> bytes:
        """Return the samples of a file as a newly written WAV file of 32-bit floats.

        Raises
        ------
        RecordingError : it is not a sound file, too long, damaged, or took too much time or memory.
        """
        if not content:
            raise RecordingError(say("is empty"), code="empty", where=name, remedy=say("record again"))
        if not looks_like_sound(content):
            raise RecordingError(
                say("is not a sound file, whatever its name says"),
                code="not_audio",
                where=name,
                rule=say("WAV, FLAC, OGG, MP3 and AIFF can be read"),
                remedy=say("record again, or convert it"),
            )
        try:
            with tempfile.TemporaryDirectory(prefix="gainwright-", ignore_cleanup_errors=True) as empty:
                done = subprocess.run(  # noqa: S603  our own module, numbers for arguments
                    (sys.executable, "-P", "-m", "gainwright.adapters.decoding_child", *self._limits),
                    input=content,
                    capture_output=True,
                    timeout=self._wall_seconds,
                    env=child_environment(),
                    cwd=empty,
                    check=False,
                )
        except subprocess.TimeoutExpired:
            raise TIMED_OUT.with_place(name) from None
        if done.returncode != 0:
            raise _child_error(done.returncode, done.stderr).with_place(name)
        return done.stdout


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
