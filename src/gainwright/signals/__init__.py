"""What is played: tones, runs of levels, and the numbered set a job needs."""

from gainwright.signals.sets import LIST_NAME, NumberedTone, list_text, numbered, write_set
from gainwright.signals.tones import Tone, quantised, render, steady_frames, write_tone

__all__ = [
    "LIST_NAME",
    "NumberedTone",
    "Tone",
    "list_text",
    "numbered",
    "quantised",
    "render",
    "steady_frames",
    "write_set",
    "write_tone",
]
