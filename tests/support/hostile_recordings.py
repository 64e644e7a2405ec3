"""Recordings whose bytes, header or samples are damaged or extreme, carried through every measurement of a recording."""

from __future__ import annotations

import functools
import io
import json
import struct
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile

from gainwright.app.measuring.responses import responses
from gainwright.metering import find_onset, measure, measure_noise, read_recording_bytes
from gainwright.report.measurement import measurement_text
from gainwright.report.noise import noise_text
from gainwright.report.onset import onset_text
from gainwright.report.response import response_text
from gainwright.results import to_json
from gainwright.signals import Sweep

if TYPE_CHECKING:
    import random
    from collections.abc import Callable

RATES = (8000, 44_100, 48_000)
FORMATS = (("WAV", "PCM_16"), ("WAV", "PCM_24"), ("WAV", "FLOAT"), ("WAV", "DOUBLE"), ("FLAC", "PCM_16"), ("AIFF", "PCM_16"), ("OGG", "VORBIS"))  # fmt: skip
LENGTHS = (0, 1, 2, 3, 7, 100, 801, 4000, 12_000, 30_000, 60_000)
ODD = (0, 1, 2, 3, 8, 0xFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF, 0xFFFE, 0x55, 0x11, 192_000, 4_000_000_000)
"""Numbers put into fields of a header: rates, counts, sizes and codecs."""
EXTREMES = (0.0, 1.0, -1.0, 1e-300, 5e-324, 1e200, -1e200, 1e30, 3e38, float("nan"), float("inf"), 2.0, 1e-20)
SWEEP = (100.0, 3000.0, 0.5)


def _samples(draw: random.Random, frames: int, channels: int, rate_hz: int) -> Any:
    """Return a tone, a sweep, noise, a pulse, silence or extreme numbers."""
    kind = draw.choice(("tone", "clipped", "noise", "pulse", "constant", "sweep", "silence", "extreme", "rising"))
    made = np.random.default_rng(draw.randrange(2**32))
    time_s = np.arange(frames) / rate_hz
    tone = np.sin(2 * np.pi * draw.choice((1.0, 50.0, 315.0, 3000.0, rate_hz / 2)) * time_s)
    found = {
        "tone": 0.5 * tone,
        "clipped": np.clip(tone, -0.3, 0.3),
        "noise": 0.1 * made.standard_normal(frames),
        "pulse": (np.arange(frames) == frames // 2) * 0.9,
        "constant": np.full(frames, draw.choice((1.0, -1.0, 0.3))),
        "sweep": np.sin(2 * np.pi * 100 * 0.15 * (np.exp(np.minimum(time_s, 0.5) / 0.15) - 1)),
        "silence": np.zeros(frames),
        "extreme": made.choice(EXTREMES, frames) if draw.random() < 0.5 else np.full(frames, draw.choice(EXTREMES)),
        "rising": np.clip(tone * np.linspace(0.01, 1.5, frames), -0.7, 0.7),
    }[kind]
    return np.repeat(np.asarray(found, dtype=np.float64)[:, None], channels, axis=1)


@functools.lru_cache(maxsize=64)
def _file(kind: tuple[str, str], frames: int, channels: int, rate_hz: int, samples: bytes) -> bytes:
    out = io.BytesIO()
    content = np.frombuffer(samples).reshape(frames, channels)
    with np.errstate(all="ignore"):
        soundfile.write(out, content, rate_hz, format=kind[0], subtype=kind[1])
    return out.getvalue()


def _mutated(draw: random.Random, content: bytes) -> bytes:
    """Return a file with bytes changed, mostly in its header; or cut, doubled, or with a field of odd size."""
    found = bytearray(content)
    for _ in range(draw.randint(1, 4)):
        if not found:
            break
        at = draw.randrange(min(len(found), draw.choice((48, 128, len(found)))))
        match draw.choice(("byte", "field", "short", "cut", "double", "insert")):
            case "byte":
                found[at] = draw.randrange(256)
            case "field":
                found[at : at + 4] = struct.pack("<I", draw.choice(ODD) & 0xFFFFFFFF)
            case "short":
                found[at : at + 2] = struct.pack("<H", draw.choice(ODD) & 0xFFFF)
            case "cut":
                del found[max(at, 12) :]
            case "double":
                found[at:at] = found[at : at + 64]
            case _:
                found[at:at] = bytes(draw.randrange(256) for _ in range(draw.randint(1, 16)))
    return bytes(found)


def random_recording(draw: random.Random) -> tuple[str, bytes]:
    """Return what was done, and the content of the file."""
    kind, frames, channels = draw.choice(FORMATS), draw.choice(LENGTHS), draw.choice((1, 2, 2, 3))
    rate_hz = draw.choice(RATES)
    whole = draw.random() < 0.35
    if whole and kind[0] == "WAV":
        rate_hz = draw.choice((*RATES, 1, 2, 3, 5, 8, 100, 384_000, 2_000_000_000))
    samples = _samples(draw, frames, channels, rate_hz)
    if kind[1] not in ("FLOAT", "DOUBLE"):
        samples = np.clip(np.nan_to_num(samples), -1, 1)
    content = _file(kind, frames, channels, rate_hz, samples.tobytes())
    what = f"{' '.join(kind)}, {frames} frames, {channels} channels, {rate_hz} Hz"
    return (what, content) if whole else (f"{what}, damaged", _mutated(draw, content))


def use_recording(content: bytes) -> None:
    """Measure a recording in every way; raise what a command would.

    Raises
    ------
    GainwrightError : it is refused.
    """
    from gainwright.errors import GainwrightError

    recording = read_recording_bytes(content, name="attacked.wav")
    refusals: list[GainwrightError] = []
    ways: tuple[tuple[Callable[[], Any], Callable[[Any], str]], ...] = (
        (lambda: measure(recording, calibrate_v=2.0), measurement_text),
        (lambda: measure_noise(recording), noise_text),
        (lambda: find_onset(recording), onset_text),
        (lambda: responses(recording, Sweep(*SWEEP, rate_hz=96_000)), response_text),
        (lambda: responses(recording, None, reference=1), response_text),
    )
    for of, text in ways:
        try:
            found = of()
            json.dumps(to_json(found), allow_nan=False)
            text(found)
        except GainwrightError as error:  # one measurement may refuse what another takes
            refusals.append(error)
    if len(refusals) == len(ways):
        raise refusals[0]
