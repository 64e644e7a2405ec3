"""Decodes one sound file from standard input to standard output, in a separate process with limited time and memory.

Started as `python -m gainwright.adapters.decoding_child CPU_SECONDS MEMORY_BYTES MOST_SAMPLES LONGEST_S`; both are files, not
pipes. It writes a WAV file of 32-bit floats, piece by piece. On an error the exit status is 3, and the last line on standard error is JSON (`code`, `what`, `remedy`);
libraries may write before it.
"""

from __future__ import annotations

import contextlib
import json
import sys
from typing import Any, NoReturn

REFUSED = 3
MOST_CHANNELS = 16
RATES_HZ = (4_000, 768_000)
PIECE_SAMPLES = 262_144
"""Samples that are decoded at once."""
HEAD_BYTES = 4096
"""What a WAV file has besides its samples, at most."""


def limit(*, cpu_seconds: int, memory_bytes: int, file_bytes: int) -> None:
    """Limit this process's processor time, memory and what it writes, where the system supports it."""
    if sys.platform == "win32":  # there, only the parent's timeout ends it
        return
    import resource

    for kind, most in (
        (resource.RLIMIT_CPU, cpu_seconds),
        (resource.RLIMIT_AS, memory_bytes),
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_FSIZE, file_bytes),
    ):
        # macOS refuses a limit of addresses below what a process has reserved already, which is much there
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(kind, (most, most))


def refuse(code: str, what: str, remedy: str) -> NoReturn:
    """End with an error."""
    sys.stderr.write("\n" + json.dumps({"code": code, "what": what, "remedy": remedy}))
    sys.stderr.flush()
    raise SystemExit(REFUSED)


def decode(*, most_samples: int, longest_s: int) -> None:
    """Decode standard input to standard output, both files, piece by piece."""
    import soundfile

    # on Windows a number of a file of Python means nothing to a library that was built with another C runtime
    source, target = (sys.stdin.buffer, sys.stdout.buffer) if sys.platform == "win32" else (0, 1)
    faults = (soundfile.LibsndfileError, RuntimeError, OSError, ValueError, TypeError)
    try:
        with soundfile.SoundFile(source, closefd=False) as file:
            _check(file.channels, file.samplerate)
            rate_hz, channels = int(file.samplerate), int(file.channels)
            longest = min(longest_s * rate_hz, most_samples // channels)
            if file.frames > longest:
                _too_long(longest / rate_hz)
            with soundfile.SoundFile(
                target, "w", rate_hz, channels, format="WAV", subtype="FLOAT", closefd=False
            ) as made:
                count = _copy(file, made, longest)
    except faults:
        refuse("not_audio", "can't be read as sound: it is damaged, or of another kind", "record again, or convert it")
    if count == 0:
        refuse("empty", "contains no samples", "record again")


def _copy(file: Any, made: Any, longest: int) -> int:
    """Copy frames; return how many there were."""
    import numpy as np

    count, rate_hz = 0, file.samplerate
    buffer = np.empty((max(1, PIECE_SAMPLES // file.channels), file.channels), "float32")
    while len(piece := file.read(out=buffer)):
        if not np.isfinite(piece).all():
            frame, channel = np.argwhere(~np.isfinite(piece))[0]
            what = (
                f"sample {count + frame} ({(count + frame) / rate_hz:.3f} s) of channel {channel + 1} is not a number"
            )
            refuse("not_finite", what, "record again; this file is damaged")
        count += len(piece)
        if count > longest:
            _too_long(longest / rate_hz)
        made.write(piece)
    return count


def _check(channels: int, rate_hz: int) -> None:
    if channels > MOST_CHANNELS or not RATES_HZ[0] <= rate_hz <= RATES_HZ[1]:
        limits = f"the limits are {MOST_CHANNELS} channels and {RATES_HZ[0]} to {RATES_HZ[1]} Hz"
        refuse("not_audio", f"has {channels} channels at {rate_hz} Hz", limits)


def _too_long(longest_s: float) -> NoReturn:
    refuse("too_large", f"is too long: the limit is {longest_s / 60:.1f} minutes", "cut the steady tone out of it")


def main(arguments: list[str]) -> None:
    """Decode under limits."""
    cpu_seconds, memory_bytes, most_samples, longest_s = (int(a) for a in arguments)
    limit(cpu_seconds=cpu_seconds, memory_bytes=memory_bytes, file_bytes=4 * most_samples + HEAD_BYTES)
    try:
        decode(most_samples=most_samples, longest_s=longest_s)
    except MemoryError:
        refuse("too_large", "needs too much memory", "cut the steady tone out of it")


if __name__ == "__main__":
    main(sys.argv[1:])
