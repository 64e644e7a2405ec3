"""What is played: tones, runs of levels, and the numbered set a job needs."""

from gainwright.signals.sets import LIST_NAME, NumberedTone, list_text, numbered, set_files
from gainwright.signals.sweeps import Sweep
from gainwright.signals.tones import Tone, quantised, render, samples_bytes, steady_frames, tone_bytes

__all__ = [
    "LIST_NAME",
    "NumberedTone",
    "Sweep",
    "Tone",
    "list_text",
    "numbered",
    "quantised",
    "render",
    "samples_bytes",
    "set_files",
    "steady_frames",
    "tone_bytes",
]
