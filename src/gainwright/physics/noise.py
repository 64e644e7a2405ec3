"""Noise of dither, sums of powers, and the frequency weightings A and C of sound level meters."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

_D_SQUARED = 0.5
_LOW_HZ, _MIDDLE_HZ, _HIGH_HZ, _REFERENCE_HZ = 10**1.5, 10**2.45, 10**3.9, 1000.0


def _weighting_poles_hz() -> tuple[float, float, float, float]:
    """Return f1 to f4 of IEC 61672-1:2013, Annex E (20.60, 107.7, 737.9, 12194 Hz).

    C is -3.01 dB at 10^1.5 and 10^3.9 Hz and 0 dB at 1 kHz, which fixes f1 and f4; f2 and f3 are symmetric about
    10^2.45 Hz.
    """
    d = math.sqrt(_D_SQUARED)
    ends = _LOW_HZ**2 * _HIGH_HZ**2
    b = (_REFERENCE_HZ**2 + ends / _REFERENCE_HZ**2 - d * (_LOW_HZ**2 + _HIGH_HZ**2)) / (1 - d)
    root = math.sqrt(b * b - 4 * ends)
    first, last = math.sqrt((-b - root) / 2), math.sqrt((-b + root) / 2)
    return first, (3 - math.sqrt(5)) / 2 * _MIDDLE_HZ, (3 + math.sqrt(5)) / 2 * _MIDDLE_HZ, last


WEIGHTING_POLES_HZ = _weighting_poles_hz()


def dither_noise(*, bits: int) -> float:
    """Return the noise of a digital word length with its usual dither, rms relative to that of a full-scale sine.

    A step d = 2/2^bits of the range -1 .. 1 gives d^2/12 by rounding and d^2/6 by triangular dither of two steps: d^2/4
    together (Lipshitz, Wannamaker, Vanderkooy, JAES 40, 1992); a full-scale sine has 1/2 (AES17). 16 bits: -93.3 dB.
    """
    return math.sqrt(0.5) * 2.0 ** (1 - bits)


def sum_of_powers_db(*, levels_db: Any) -> Floats:
    """Return the level of several uncorrelated signals together, summed along the last axis: 10 lg sum(10^(L/10)).

    Powers add when signals are uncorrelated; coherent ones add as voltages (equal ones +6.02 dB instead of +3.01 dB).
    Valid for levels of one reference; minus infinity adds nothing.
    """
    with np.errstate(divide="ignore"):
        powers = 10 ** (np.asarray(levels_db, dtype=np.float64) / 10)
        return np.asarray(10 * np.log10(np.sum(powers, axis=-1)))


def _c_ratio(square: Floats) -> Floats:
    first, _, _, last = WEIGHTING_POLES_HZ
    return last**2 * square / ((square + first**2) * (square + last**2))


def _a_ratio(square: Floats) -> Floats:
    _, second, third, _ = WEIGHTING_POLES_HZ
    return _c_ratio(square) * square / np.sqrt((square + second**2) * (square + third**2))


def a_weighting_db(*, frequency_hz: Any) -> Floats:
    """Return the gain of weighting A, dB: 20 lg[f4^2 f^4/((f^2+f1^2) sqrt((f^2+f2^2)(f^2+f3^2)) (f^2+f4^2))] - A1000.

    IEC 61672-1:2013, Annex E, exactly 0 dB at 1 kHz (A1000 = -2.000 dB). Valid above 0 Hz; Table 3 of the standard
    holds 10 Hz to 20 kHz, rounded to 0.1 dB at exact third-octave frequencies.
    """
    square = np.asarray(frequency_hz, dtype=np.float64) ** 2
    return np.asarray(20 * np.log10(_a_ratio(square) / _a_ratio(np.asarray(_REFERENCE_HZ**2))))


def c_weighting_db(*, frequency_hz: Any) -> Floats:
    """Return the gain of weighting C, dB: 20 lg[f4^2 f^2/((f^2+f1^2)(f^2+f4^2))] - C1000.

    IEC 61672-1:2013, Annex E, exactly 0 dB at 1 kHz (C1000 = -0.062 dB). Validity as `a_weighting_db`.
    """
    square = np.asarray(frequency_hz, dtype=np.float64) ** 2
    return np.asarray(20 * np.log10(_c_ratio(square) / _c_ratio(np.asarray(_REFERENCE_HZ**2))))
