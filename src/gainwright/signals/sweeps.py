"""Exponential sweeps for measuring a path's response."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.errors import CallError
from gainwright.signals.tones import quantise, samples_bytes

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

SILENCE_SECONDS = 1.0
FADE_SHARE = 0.02
LONGEST_SECONDS = 120.0


@dataclass(frozen=True, slots=True)
class Sweep:
    """x(t) = sin(w1 L (e^(t/L) - 1)), L = T/ln(f2/f1): the frequency rises by equal ratios in equal times.

    Farina, AES 108th Convention, 2000, preprint 5093. There is a second of silence before and after.

    Attributes
    ----------
    low_hz, high_hz : start and end frequency.
    seconds : T, without the silence.
    level_dbfs : 0 is full scale.
    """

    low_hz: float = 20.0
    high_hz: float = 20_000.0
    seconds: float = 10.0
    level_dbfs: float = -12.0
    rate_hz: int = 48_000

    def __post_init__(self) -> None:
        if self.rate_hz not in (44_100, 48_000, 88_200, 96_000):
            raise CallError(f"a rate of {self.rate_hz} Hz", code="bad_tone", rule="44100, 48000, 88200 or 96000 Hz")
        if not (self.low_hz >= 1 and 1.5 * self.low_hz <= self.high_hz <= 0.49 * self.rate_hz):
            raise CallError(
                f"a sweep from {self.low_hz:g} to {self.high_hz:g} Hz",
                code="bad_tone",
                rule=f"it rises by a ratio of at least 1.5, within 1 to {0.49 * self.rate_hz:g} Hz",
            )
        if not (math.isfinite(self.seconds) and 0.5 <= self.seconds <= LONGEST_SECONDS):
            raise CallError(f"a sweep of {self.seconds:g} s", code="bad_tone", rule=f"0.5 to {LONGEST_SECONDS:g} s")
        if not -80 <= self.level_dbfs <= 0:
            raise CallError(f"a level of {self.level_dbfs:g} dBFS", code="bad_tone", rule="-80 to 0 dBFS")

    @property
    def stretch_s(self) -> float:
        """L: the time in which the frequency rises by a factor of e."""
        return self.seconds / math.log(self.high_hz / self.low_hz)

    def file_bytes(self, suffix: str) -> bytes:
        """Return the sweep, the same on both sides, as the content of a 24-bit .wav or .flac file. CallError: another suffix."""
        samples = self.render()
        codes = quantise(np.stack([samples, samples], axis=1), bits=24, seed=1)
        return samples_bytes(codes, self.rate_hz, 24, suffix)

    def render(self) -> Floats:
        """Return the samples re full scale, shape (frames,), silence included, with raised-cosine fades."""
        count = round(self.seconds * self.rate_hz)
        time_s = np.arange(count) / self.rate_hz
        stretch = self.stretch_s
        wave = np.sin(2 * np.pi * self.low_hz * stretch * np.expm1(time_s / stretch))
        fade = max(2, int(FADE_SHARE * count))
        rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(fade) + 0.5) / fade)
        wave[:fade] *= rise
        # the last octaves pass quickly: a short fade there
        last = max(2, fade // 10)
        wave[-last:] *= rise[:: max(1, fade // last)][:last][::-1]
        silence = np.zeros(round(SILENCE_SECONDS * self.rate_hz))
        return np.asarray(np.concatenate([silence, 10 ** (self.level_dbfs / 20) * wave, silence]))
