"""What an amplifier plays: means of its output voltage for the music that was scanned, or for a stated share of full power."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright import physics
from gainwright.solve import Voltage, sine

if TYPE_CHECKING:
    from gainwright.plan import AmplifierLoad
    from gainwright.programme.music_result import MusicResult

EIGHTH = 1 / 8
"""Mean power of a programme over full power: one eighth, as amplifiers are preconditioned for rating (16 CFR 432.3)."""
WORST = 1 / 3
"""Worst second, and worst 100 ms, of a dense programme over full power (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class Programme:
    """What one amplifier plays: over all of the music, over its loudest track, in its worst second, and a full sine.

    Attributes
    ----------
    peak_v : highest peak that it gives, at most its ceiling.
    worst_100ms_v2 : mean square of its worst 100 ms; of a scan without that figure, of its worst second.
    full_scale_v : peak of a tone at full scale that no filter weakens, if nothing clipped it.
    """

    music: Voltage
    loudest_track: Voltage
    worst_second: Voltage
    full_sine: Voltage
    peak_v: float
    worst_100ms_v2: float = 0.0
    full_scale_v: float = math.inf


def programme(amplifier: AmplifierLoad, music: MusicResult | None) -> Programme:
    """Return what an amplifier plays with the job's allowance; without music, or without its band, the stated shares.

    A sine of -A dBFS gives the target, so full scale is 10^(A/20) sqrt(2) times it, and everything above the ceiling is
    clipped. From the share of time S(u) above a level: E|v| is the integral of S from 0 to the ceiling, E[v^2] that of 2
    u S. In the worst second only the mean square is known, so its mean magnitude is taken as its rms, an upper bound.
    """
    ceiling = float(np.sqrt(2) * amplifier.ceiling_v)
    full = sine(amplifier.ceiling_v)
    allowance_db = amplifier.band.allowance_db if amplifier.follows_allowance else 0.0
    full_scale = float(np.sqrt(2) * amplifier.target_v * 10 ** (allowance_db / 20))
    if music is None or amplifier.band.key not in music.distribution:
        mean = _gaussian(EIGHTH * amplifier.target_v**2)
        worst = WORST * amplifier.target_v**2
        return Programme(mean, mean, Voltage(worst, float(np.sqrt(worst))), full, ceiling, worst, full_scale)
    points = music.distribution[amplifier.band.key]
    levels = np.array([0.0, *(10 ** (p.peak_dbfs / 20) for p in points)]) * full_scale
    shares = np.array([1.0, *(p.time_percent / 100 for p in points)])
    # the grid ends where the ceiling is, so that nothing above it counts
    inside = np.append(levels[levels < ceiling], ceiling)
    share = np.interp(inside, levels, shares)
    mean = Voltage(float(np.trapezoid(2 * inside * share, inside)), float(np.trapezoid(share, inside)))
    bands = [track.bands[amplifier.band.key] for track in music.tracks]
    loudest = _mean_square(max((b.rms_dbfs for b in bands if b.rms_dbfs is not None), default=None), full_scale)
    worst = _mean_square(max((b.worst_1s_dbfs for b in bands if b.worst_1s_dbfs is not None), default=None), full_scale)
    worst = min(worst, ceiling**2)
    short = max((b.worst_100ms_dbfs for b in bands if b.worst_100ms_dbfs is not None), default=None)
    peaks = [b.peak_dbfs for b in bands if b.peak_dbfs is not None]
    peak = full_scale * 10 ** (max(peaks, default=-200.0) / 20)
    return Programme(
        mean,
        _gaussian(min(loudest, ceiling**2)),
        Voltage(worst, float(np.sqrt(worst))),
        full,
        min(ceiling, peak),
        max(worst, min(_mean_square(short, full_scale), ceiling**2)),
        full_scale,
    )


def _mean_square(level_dbfs: float | None, full_scale_v: float) -> float:
    """Return the mean square of a level after AES17 (0 dBFS is a full-scale sine); 0 for silence."""
    return 0.0 if level_dbfs is None else full_scale_v**2 * 10 ** (level_dbfs / 10) / 2


def _gaussian(mean_square: float) -> Voltage:
    return Voltage(mean_square, physics.GAUSSIAN_MEAN_ABS * float(np.sqrt(mean_square)))
