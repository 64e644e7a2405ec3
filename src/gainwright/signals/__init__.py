"""What is played: tones, runs of levels, and the numbered set a job needs."""

from gainwright.signals.sets import LIST_NAME, NumberedTone, list_text, numbered, write_set
from gainwright.signals.sweeps import Sweep
from gainwright.signals.tones import Tone, quantised, render, steady_frames, write_samples, write_tone

__all__ = [
    "LIST_NAME",
    "NumberedTone",
    "Sweep",
    "Tone",
    "list_text",
    "numbered",
    "quantised",
    "render",
    "steady_frames",
    "write_samples",
    "write_set",
    "write_tone",
]
