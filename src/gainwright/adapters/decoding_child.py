"""Decodes one sound file from standard input to standard output, in a separate process with limited time and memory.

Started as `python -m gainwright.adapters.decoding_child CPU_SECONDS MEMORY_BYTES MOST_SAMPLES`. It writes a WAV file of
32-bit floats. On an error the exit status is 3, and the last line on standard error is JSON (`code`, `what`, `remedy`);
libraries may write before it.
"""

from __future__ import annotations

import json
import sys
from typing import IO, NoReturn

REFUSED = 3
MOST_CHANNELS = 16
RATES_HZ = (4_000, 768_000)


def limit(*, cpu_seconds: int, memory_bytes: int) -> None:
    """Limit this process's processor time and memory, where the system supports it."""
    try:
        import resource
    except ImportError:  # there, only the parent's timeout ends it
        return
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_seconds, cpu_seconds))
    resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))


def refuse(code: str, what: str, remedy: str) -> NoReturn:
    """End with an error."""
    sys.stderr.write("\n" + json.dumps({"code": code, "what": what, "remedy": remedy}))
    sys.stderr.flush()
    raise SystemExit(REFUSED)


def decode(source: IO[bytes], into: IO[bytes], *, most_samples: int) -> None:
    """Decode."""
    import io

    import numpy as np
    import soundfile

    try:
        with soundfile.SoundFile(io.BytesIO(source.read())) as file:
            if file.channels > MOST_CHANNELS or not RATES_HZ[0] <= file.samplerate <= RATES_HZ[1]:
                what = f"has {file.channels} channels at {file.samplerate} Hz"
                refuse(
                    "not_audio", what, f"the limits are {MOST_CHANNELS} channels and {RATES_HZ[0]} to {RATES_HZ[1]} Hz"
                )
            if file.frames * file.channels > most_samples:
                minutes = most_samples / file.channels / file.samplerate / 60
                refuse("too_large", f"is too long: the limit is {minutes:.1f} minutes", "cut the steady tone out of it")
            samples = file.read(frames=most_samples // file.channels + 1, dtype="float32", always_2d=True)
            rate_hz = int(file.samplerate)
    except (soundfile.LibsndfileError, RuntimeError, OSError, ValueError, TypeError):
        refuse("not_audio", "can't be read as sound: it is damaged, or of another kind", "record again, or convert it")
    if samples.size == 0:
        refuse("empty", "contains no samples", "record again")
    if samples.size > most_samples:
        refuse("too_large", "is too long", "cut the steady tone out of it")
    if not np.isfinite(samples).all():
        frame, channel = np.argwhere(~np.isfinite(samples))[0]
        what = f"sample {frame} ({frame / rate_hz:.3f} s) of channel {channel + 1} is not a number"
        refuse("not_finite", what, "record again; this file is damaged")
    made = io.BytesIO()
    soundfile.write(made, samples, rate_hz, format="WAV", subtype="FLOAT")
    into.write(made.getbuffer())
    into.flush()


def main(arguments: list[str]) -> None:
    """Decode under limits."""
    cpu_seconds, memory_bytes, most_samples = (int(a) for a in arguments)
    limit(cpu_seconds=cpu_seconds, memory_bytes=memory_bytes)
    try:
        decode(sys.stdin.buffer, sys.stdout.buffer, most_samples=most_samples)
    except MemoryError:
        refuse("too_large", "needs too much memory", "cut the steady tone out of it")


if __name__ == "__main__":
    main(sys.argv[1:])
