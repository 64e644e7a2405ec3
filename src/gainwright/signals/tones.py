"""Set-up tones: exact level in AES17 dBFS, whole periods, faded ends, dithered when quantised to 16 bits."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from gainwright.errors import CallError

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

Sides = Literal["both", "left", "right", "mono"]
RAMP_SECONDS = 0.02
LONGEST_SECONDS = 3600.0
RATES_HZ = (44_100, 48_000, 88_200, 96_000)
_WAV_AND_FLAC = {".wav": "WAV", ".flac": "FLAC"}


@dataclass(frozen=True, slots=True)
class Tone:
    """A steady sine, or a sequence of levels.

    Attributes
    ----------
    frequency_hz : of the sine.
    levels_dbfs : one level, or one for each step; 0 dBFS is a full-scale sine (AES17).
    seconds : length of each level's steady part, rounded up to whole periods; the fades are added.
    rate_hz, bits : 16 bits are dithered (triangular, 2 LSB wide), 24 are not.
    sides : both sides the same, one side of a stereo file, or a mono file.
    name : for display.
    """

    frequency_hz: float
    levels_dbfs: tuple[float, ...]
    seconds: float
    rate_hz: int = 44_100
    bits: int = 16
    sides: Sides = "both"
    name: str = ""
    seed: int = field(default=1, repr=False)

    def __post_init__(self) -> None:
        _check(self)


def _refuse(what: str, rule: str, remedy: str = "") -> CallError:
    return CallError(what, code="bad_tone", rule=rule, remedy=remedy)


def _check(tone: Tone) -> None:
    if tone.rate_hz not in RATES_HZ:
        raise _refuse(f"a rate of {tone.rate_hz} Hz", f"the rate must be one of {', '.join(map(str, RATES_HZ))} Hz")
    if not math.isfinite(tone.frequency_hz) or not 1 <= tone.frequency_hz <= 0.45 * tone.rate_hz:
        raise _refuse(
            f"a tone of {tone.frequency_hz:g} Hz",
            f"at {tone.rate_hz} Hz a tone must be 1 to {0.45 * tone.rate_hz:g} Hz",
            "choose another frequency or rate",
        )
    if not tone.levels_dbfs or not all(math.isfinite(v) and -120 <= v <= 0 for v in tone.levels_dbfs):
        shown = ", ".join(f"{v:g}" for v in tone.levels_dbfs) or "no level"
        raise _refuse(f"a level of {shown} dBFS", "levels must be -120 to 0 dBFS; 0 is a full-scale sine")
    if not math.isfinite(tone.seconds) or not 0.05 <= tone.seconds * len(tone.levels_dbfs) <= LONGEST_SECONDS:
        raise _refuse(f"a length of {tone.seconds:g} s", f"a signal must last 0.05 to {LONGEST_SECONDS:g} s")
    if tone.bits not in (16, 24):
        raise _refuse(f"{tone.bits} bits", "16 or 24 bits")
    if tone.sides not in ("both", "left", "right", "mono"):
        raise _refuse(f"sides {tone.sides!r}", "sides must be both, left, right or mono")


def steady_frames(tone: Tone) -> int:
    """Return the frames of one level's steady part: whole periods, to within half a frame."""
    periods = math.ceil(tone.seconds * tone.frequency_hz - 1e-9)
    return round(periods * tone.rate_hz / tone.frequency_hz)


def render(tone: Tone) -> Floats:
    """Return the samples re full scale, shape (frames, channels), before quantisation.

    The phase is continuous over steps of level; between them and at both ends the level follows raised cosines of
    `RAMP_SECONDS`. By sampling, the peak of a full-scale sine is at most one LSB below full scale.
    """
    ramp = round(RAMP_SECONDS * tone.rate_hz)
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(ramp) + 0.5) / ramp)
    steady = steady_frames(tone)
    peaks = [10 ** (level / 20) for level in tone.levels_dbfs]
    envelope = [peaks[0] * rise]
    for i, peak in enumerate(peaks):
        envelope.append(np.full(steady, peak))
        following = peaks[i + 1] if i + 1 < len(peaks) else 0.0
        envelope.append(peak + (following - peak) * rise)
    level = np.concatenate(envelope)
    angle = 2 * np.pi * np.mod(tone.frequency_hz / tone.rate_hz * (np.arange(len(level)) - ramp), 1.0)
    wave = level * np.sin(angle)
    if tone.sides == "mono":
        return np.asarray(wave[:, None])
    silent = np.zeros_like(wave)
    left = wave if tone.sides in ("both", "left") else silent
    right = wave if tone.sides in ("both", "right") else silent
    return np.asarray(np.stack([left, right], axis=1))


def quantise(samples: Floats, *, bits: int, seed: int) -> npt.NDArray[np.int32]:
    """Quantise samples to integers, left-justified in 32 bits; 16 bits with triangular dither.

    The dither is the sum of two independent uniform values of one LSB each (Lipshitz, Wannamaker & Vanderkooy, J. Audio
    Eng. Soc. 40(5), 1992); silence is not dithered. Full scale is 2^(bits-1) - 1, so that a 0 dBFS sine doesn't overflow.
    """
    full = 2 ** (bits - 1) - 1
    scaled = samples * full
    if bits == 16:
        rng = np.random.default_rng(seed)
        dither = rng.random(samples.shape) - rng.random(samples.shape)
        dither[:, ~np.any(samples, axis=0)] = 0.0
        scaled = scaled + dither
    whole = np.clip(np.rint(scaled), -full - 1, full).astype(np.int64)
    return np.asarray(whole << (32 - bits), dtype=np.int32)


def tone_bytes(tone: Tone, suffix: str) -> bytes:
    """Return a tone as the content of a .wav or .flac file.

    Raises
    ------
    CallError : any other suffix.
    """
    return samples_bytes(quantise(render(tone), bits=tone.bits, seed=tone.seed), tone.rate_hz, tone.bits, suffix)


def samples_bytes(samples: npt.NDArray[np.int32], rate_hz: int, bits: int, suffix: str) -> bytes:
    """Return left-justified integers, shape (frames, channels), as the content of a .wav or .flac file.

    Raises
    ------
    CallError : any other suffix.
    """
    import soundfile

    kind = _WAV_AND_FLAC.get(suffix.lower())
    if kind is None:
        raise CallError(
            f"a tone can't be written as {suffix or 'a file without a suffix'}",
            code="bad_suffix",
            rule="tones must be .wav or .flac",
            remedy="name the file tone.wav",
        )
    out = io.BytesIO()
    soundfile.write(out, samples, rate_hz, format=kind, subtype=f"PCM_{bits}")
    return out.getvalue()
