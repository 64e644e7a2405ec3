"""Decoding of an untrusted sound file from bytes to bytes, as tests want it."""

from __future__ import annotations

import io
import tempfile
from typing import Any

from gainwright.adapters.guarded_decoding import GuardedSoundFiles


def as_wav(content: bytes, *, name: str = "a", **limits: Any) -> bytes:
    """Return a sound file as a WAV file of 32-bit floats. RecordingError: see `GuardedSoundFiles`."""
    with tempfile.TemporaryFile() as into:
        GuardedSoundFiles(**limits).to_wav(io.BytesIO(content), into, name=name)
        into.seek(0)
        return into.read()
