"""Find a comb of harmonics whose pitch moves over the recording, as an alternator's does with engine speed.

Short spectra without their steady lines; for each pitch the sum of its harmonics over the noise; the slowly changing
path of pitches with the largest sum (dynamic programming). It is accepted when its harmonics exceed the level halfway
between them, and when it moves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

FRAME_SECONDS, HOP_SECONDS = 0.25, 0.1
LOWEST_HZ, HIGHEST_HZ = 80.0, 3000.0
PITCHES_PER_OCTAVE = 96
HARMONICS = 6
FASTEST = 6
"""Largest change of pitch index from one frame to the next: 4.4 % in a tenth of a second."""
FLOOR_BINS = 32
MOVES = 0.03
"""A comb that moves less than this over the recording is steady."""
STANDS_OUT_DB = 6.0
LEAST_HARMONICS = 2
LEAST_FRAMES = 8


@dataclass(frozen=True, slots=True)
class Whine:
    """A moving comb: lowest and highest pitch, mean level of its harmonics together, how many are above the noise.

    `noise_between` is the mean square between the harmonics, 20 Hz to 20 kHz.
    """

    low_hz: float
    high_hz: float
    level_dbfs: float
    harmonics: int
    pitch_hz: tuple[float, ...]
    noise_between: float

    def holds(self, frequency_hz: float) -> bool:
        """Whether one of its harmonics passed a frequency."""
        return any(k * self.low_hz * 0.99 <= frequency_hz <= k * self.high_hz * 1.01 for k in range(1, HARMONICS + 1))


def find_whine(samples: Floats, *, rate_hz: float) -> Whine | None:
    """Return the moving comb of a recording, None when there is none."""
    frame = 1 << int(np.log2(FRAME_SECONDS * rate_hz))
    hop = max(1, int(HOP_SECONDS * rate_hz))
    starts = range(0, len(samples) - frame + 1, hop)
    if len(starts) < LEAST_FRAMES:
        return None
    window = np.hanning(frame)
    scale = 2 / (frame * np.sum(window**2))
    power = np.stack([np.abs(np.fft.rfft(samples[i : i + frame] * window)) ** 2 for i in starts]) * scale
    moving = _without_steady_lines(power)
    bin_hz = rate_hz / frame
    top_hz = min(HIGHEST_HZ, 0.4 * rate_hz / 2)
    pitches = LOWEST_HZ * 2 ** (np.arange(int(PITCHES_PER_OCTAVE * math.log2(top_hz / LOWEST_HZ))) / PITCHES_PER_OCTAVE)
    way = _best_path(_salience(moving, pitches, bin_hz))
    pitch_hz = pitches[way]
    return _accepted(power, pitch_hz, bin_hz, rate_hz)


def _without_steady_lines(power: Floats) -> Floats:
    """Return dB over the local floor without steady lines; never under 0."""
    level = 10 * np.log10(np.maximum(power, 1e-30))
    level -= _floor(level)
    level -= np.maximum(np.median(level, axis=0), 0)
    return np.clip(level - 4.0, 0, 25)


def _floor(spectra: Floats) -> Floats:
    """Return the median of each spectrum's neighbourhood, block by block (a running median takes ten times as long)."""
    frames, bins = spectra.shape
    blocks = bins // FLOOR_BINS
    medians = np.median(spectra[:, : blocks * FLOOR_BINS].reshape(frames, blocks, FLOOR_BINS), axis=2)
    # two blocks together are less affected by a line than one
    lower, upper = np.minimum(medians[:, :-1], medians[:, 1:]), np.maximum(medians[:, :-1], medians[:, 1:])
    both = np.concatenate([medians[:, :1], 0.5 * (lower + upper), medians[:, -1:]], axis=1)
    half = FLOOR_BINS // 2
    return np.concatenate(
        [
            both[:, :1].repeat(half, axis=1),
            both[:, 1:-1].repeat(FLOOR_BINS, axis=1),
            both[:, -1:].repeat(bins - (blocks - 1) * FLOOR_BINS - half, axis=1),
        ],
        axis=1,
    )


def _at(spectrum: Floats, hz: Floats, bin_hz: float) -> Floats:
    """Return the largest of the three bins about each frequency, shape (frames, len(hz)) or (frames,)."""
    near = np.clip(np.rint(hz / bin_hz).astype(np.intp), 1, spectrum.shape[1] - 2)
    if near.ndim == 1 and len(near) == len(spectrum):
        rows = np.arange(len(spectrum))
        return np.asarray(np.max([spectrum[rows, near + d] for d in (-1, 0, 1)], axis=0))
    return np.asarray(np.max([spectrum[:, near + d] for d in (-1, 0, 1)], axis=0))


def _salience(moving: Floats, pitches: Floats, bin_hz: float) -> Floats:
    total = np.zeros((len(moving), len(pitches)))
    limit_hz = bin_hz * (moving.shape[1] - 2)
    for k in range(1, HARMONICS + 1):
        inside = k * pitches < limit_hz
        near = np.clip(np.rint(k * pitches / bin_hz).astype(np.intp), 1, moving.shape[1] - 2)
        total += 0.85 ** (k - 1) * inside * np.max([moving[:, near + d] for d in (-1, 0, 1)], axis=0)
    return total


def _best_path(salience: Floats) -> npt.NDArray[np.intp]:
    """Return the pitch index of each frame along the path with the largest sum."""
    frames, pitches = salience.shape
    best = salience[0].copy()
    came = np.zeros((frames, pitches), dtype=np.intp)
    moves = range(-FASTEST, FASTEST + 1)
    for t in range(1, frames):
        options = np.full((len(moves), pitches), -np.inf)
        for i, move in enumerate(moves):
            shifted = np.roll(best, move)
            if move > 0:
                shifted[:move] = -np.inf
            elif move < 0:
                shifted[move:] = -np.inf
            options[i] = shifted - 0.5 * abs(move)
        chosen = np.argmax(options, axis=0)
        came[t] = np.arange(pitches) - (chosen - FASTEST)
        best = options[chosen, np.arange(pitches)] + salience[t]
    way = np.empty(frames, dtype=np.intp)
    way[-1] = int(np.argmax(best))
    for t in range(frames - 1, 0, -1):
        way[t - 1] = came[t, way[t]]
    return way


def _accepted(power: Floats, pitch_hz: Floats, bin_hz: float, rate_hz: float) -> Whine | None:
    low, high = (float(v) for v in np.quantile(pitch_hz, [0.05, 0.95]))
    if high / low - 1 < MOVES:
        return None
    found, level = 0, 0.0
    for k in range(1, HARMONICS + 1):
        if k * high > 0.45 * rate_hz:
            break
        on = _at(power, k * pitch_hz, bin_hz)
        off = 0.5 * (_at(power, (k - 0.5) * pitch_hz, bin_hz) + _at(power, (k + 0.5) * pitch_hz, bin_hz))
        # a geometric mean over the frames: one loud moment is not a whine
        over_db = float(np.mean(10 * np.log10(np.maximum(on, 1e-30) / np.maximum(off, 1e-30))))
        if over_db > STANDS_OUT_DB:
            found += 1
            level += float(
                np.mean(_line_power(power, k * pitch_hz, bin_hz) - _line_power(power, (k + 0.5) * pitch_hz, bin_hz))
            )
    if found < LEAST_HARMONICS or level <= 0:
        return None
    pitches = tuple(float(p) for p in pitch_hz)
    return Whine(low, high, 10 * math.log10(2 * level), found, pitches, _noise_between(power, bin_hz))


def _noise_between(power: Floats, bin_hz: float) -> float:
    """Return the noise between lines; a bin's mean is its median over ln 2 (exponential distribution)."""
    floor = _floor(power) / math.log(2)
    return float(np.sum(np.mean(floor, axis=0)[max(1, int(20 / bin_hz)) : int(20_000 / bin_hz) + 1]))


def _line_power(power: Floats, hz: Floats, bin_hz: float) -> Floats:
    """Return the power of a line along its path, wide enough for its movement within a frame."""
    near = np.rint(hz / bin_hz).astype(np.intp)
    reach = 3 + np.ceil(0.02 * hz / bin_hz).astype(np.intp)
    return np.array(
        [np.sum(row[max(0, n - r) : n + r + 1]) for row, n, r in zip(power, near, reach, strict=True)], dtype=np.float64
    )
