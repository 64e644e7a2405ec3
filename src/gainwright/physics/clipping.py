"""A sine cut symmetrically at a hard ceiling of 1: closed forms by its drive A (peak of the uncut sine over the ceiling).

With a = arcsin(1/A) for A > 1: Fourier series of the clipped sine; the fundamental over A is the describing function of
saturation in control handbooks. Drives up to 1 leave the sine whole.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]


def _angle(drive: Any) -> tuple[Floats, Floats]:
    a = np.asarray(drive, dtype=np.float64)
    return a, np.asarray(np.arcsin(1 / np.maximum(a, 1.0)))


def clipped_sine_fundamental(*, drive: Any) -> Floats:
    """Return the peak of the fundamental: (2A/pi)(a + sqrt(1 - 1/A^2)/A)."""
    a, angle = _angle(drive)
    over = np.maximum(a, 1.0)
    cut = 2 * over / np.pi * (angle + np.sqrt(1 - 1 / over**2) / over)
    return np.asarray(np.where(a > 1, cut, a))


def clipped_sine_rms(*, drive: Any) -> Floats:
    """Return the rms: mean square (2/pi)[A^2 (a/2 - sin(2a)/4) + pi/2 - a]."""
    a, angle = _angle(drive)
    square = 2 / np.pi * (a**2 * (angle / 2 - np.sin(2 * angle) / 4) + (np.pi / 2 - angle))
    return np.asarray(np.where(a > 1, np.sqrt(square), a / np.sqrt(2)))


def clipped_sine_harmonic(*, drive: Any, order: int) -> Floats:
    """Return the signed peak of an odd harmonic from the third; even ones are zero.

    (4/pi)[(A/2)(sin((n-1)a)/(n-1) - sin((n+1)a)/(n+1)) + cos(na)/n].
    """
    a, angle = _angle(drive)
    if order % 2 == 0:
        return np.zeros_like(a)
    if order == 1:
        return clipped_sine_fundamental(drive=drive)
    n = order
    inside = np.sin((n - 1) * angle) / (n - 1) - np.sin((n + 1) * angle) / (n + 1)
    value = 4 / np.pi * (a / 2 * inside + np.cos(n * angle) / n)
    return np.asarray(np.where(a > 1, value, 0.0))


def clipped_sine_thd(*, drive: Any) -> Floats:
    """Return harmonics over fundamental, as a ratio (the convention THD_F)."""
    first = clipped_sine_fundamental(drive=drive)
    above = np.maximum(clipped_sine_rms(drive=drive) ** 2 - first**2 / 2, 0.0)
    return np.asarray(np.where(np.asarray(drive) > 1, np.sqrt(above) / (first / np.sqrt(2)), 0.0))


def clipped_sine_mean_abs(*, drive: Any) -> Floats:
    """Return the rectified mean: (2/pi)[A(1 - cos a) + pi/2 - a]."""
    a, angle = _angle(drive)
    cut = 2 / np.pi * (a * (1 - np.cos(angle)) + np.pi / 2 - angle)
    return np.asarray(np.where(a > 1, cut, 2 / np.pi * a))


def describing_function(*, drive: Any) -> Floats:
    """Return the fundamental over the drive (describing function of saturation)."""
    return np.asarray(clipped_sine_fundamental(drive=drive) / np.asarray(drive, dtype=np.float64))


def drive_for_thd(*, thd: float) -> float:
    """Return the drive at which THD reaches a ratio, by halving; 1 % is a clip depth of 0.251261 dB.

    ValueError outside 0 .. 0.483 (a square wave).
    """
    limit = float(np.sqrt(np.pi**2 / 8 - 1))
    if not 0 < thd < limit:
        raise ValueError(f"THD of a clipped sine lies between 0 and {limit:.4f}, not {thd}")
    low, high = 0.0, 40.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if clipped_sine_thd(drive=10 ** (middle / 20)) < thd else (low, middle)
    return float(10 ** (low / 20))
