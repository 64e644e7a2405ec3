"""Test signals: tones, stepped levels, sweeps, and the numbered set of a job."""

from gainwright.signals.sweeps import Sweep
from gainwright.signals.tone_set import LIST_NAME, NumberedTone, number_tones, set_files, tone_list_text
from gainwright.signals.tones import Tone, quantise, render, samples_bytes, steady_frames, tone_bytes

__all__ = [
    "LIST_NAME",
    "NumberedTone",
    "Sweep",
    "Tone",
    "number_tones",
    "quantise",
    "render",
    "samples_bytes",
    "set_files",
    "steady_frames",
    "tone_bytes",
    "tone_list_text",
]
