"""Analogue prototypes of crossover filters and equaliser bands, on arrays of frequencies.

Every response is H(s) at s = j f / corner (low-pass) or its reciprocal (high-pass). Frequencies and corners broadcast.
"""

from __future__ import annotations

import functools
import math
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Complexes = npt.NDArray[np.complex128]
    Kind = Literal["low", "high"]

SLOPES_DB_PER_OCTAVE = {
    "butterworth": (6, 12, 18, 24, 30, 36, 42, 48),
    "bessel": (6, 12, 18, 24, 30, 36, 42, 48),
    "linkwitz-riley": (12, 24, 36, 48),
}


def _low_pass_s(frequency_hz: Any, corner_hz: Any, kind: str) -> Complexes:
    ratio = np.asarray(frequency_hz, dtype=np.float64) / np.asarray(corner_hz, dtype=np.float64)
    if kind == "low":
        return np.asarray(1j * ratio)
    if kind == "high":
        with np.errstate(divide="ignore"):
            return np.asarray(-1j / ratio)
    raise ValueError(f"kind is low or high, not {kind!r}")


def _over_poles(s: Complexes, poles: tuple[complex, ...]) -> Complexes:
    """Return prod(-p)/prod(s - p), conjugate pairs as real quadratics, unity at s = 0."""
    total: Any = 1.0
    for pole in poles:
        if abs(pole.imag) < 1e-12:
            total = total * (-pole.real / (s - pole.real))
        elif pole.imag > 0:
            square = abs(pole) ** 2
            total = total * (square / (s * (s - 2 * pole.real) + square))
    return np.asarray(total, dtype=np.complex128)


@functools.cache
def _butterworth_poles(order: int) -> tuple[complex, ...]:
    if not 1 <= order <= 8:
        raise ValueError(f"order is 1 to 8, not {order}")
    angles = [math.pi * (2 * k + order - 1) / (2 * order) for k in range(1, order + 1)]
    return tuple(complex(math.cos(a), math.sin(a)) for a in angles)


@functools.cache
def _bessel_poles(order: int) -> tuple[complex, ...]:
    """Return the poles of the Bessel filter of unit delay scaled to -3.01 dB at 1 rad/s.

    Roots of the reverse Bessel polynomial theta_n(s) = sum over k of (2n-k)! s^k / (2^(n-k) k! (n-k)!).
    """
    if not 1 <= order <= 8:
        raise ValueError(f"order is 1 to 8, not {order}")
    f = math.factorial
    coefficients = [f(2 * order - k) / (2 ** (order - k) * f(k) * f(order - k)) for k in range(order, -1, -1)]

    def magnitude(w: float) -> float:
        return float(abs(coefficients[-1] / np.polyval(coefficients, 1j * w)))

    low, high = 0.0, 10.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if magnitude(middle) > math.sqrt(0.5) else (low, middle)
    return tuple(complex(p) / low for p in np.roots(coefficients))


def butterworth_response(*, frequency_hz: Any, corner_hz: Any, order: int, kind: Kind) -> Complexes:
    """Return a Butterworth filter's response: maximally flat, |H|^2 = 1/(1 + (f/fc)^2n) (Butterworth 1930).

    Order 1 to 8; ValueError otherwise.
    """
    return _over_poles(_low_pass_s(frequency_hz, corner_hz, kind), _butterworth_poles(order))


def linkwitz_riley_response(*, frequency_hz: Any, corner_hz: Any, order: int, kind: Kind) -> Complexes:
    """Return a Linkwitz-Riley filter's response: two Butterworth filters of half the order, -6.02 dB at the corner.

    Order 2, 4, 6, 8 (Linkwitz, J. Audio Eng. Soc. 24(1), 1976); ValueError otherwise. Orders 2 and 6 keep the textbook
    polarity: low and high pass sum with one of them reversed.
    """
    if order not in (2, 4, 6, 8):
        raise ValueError(f"Linkwitz-Riley orders are 2, 4, 6, 8, not {order}")
    half = butterworth_response(frequency_hz=frequency_hz, corner_hz=corner_hz, order=order // 2, kind=kind)
    return np.asarray(half * half)


def bessel_response(*, frequency_hz: Any, corner_hz: Any, order: int, kind: Kind) -> Complexes:
    """Return a Bessel filter's response, -3.01 dB at the corner (Thomson 1949). Order 1 to 8; ValueError otherwise."""
    return _over_poles(_low_pass_s(frequency_hz, corner_hz, kind), _bessel_poles(order))


def filter_response(
    *, shape: str, slope_db_per_octave: int, corner_hz: Any, kind: Kind, frequency_hz: Any
) -> Complexes:
    """Return the response of a filter named by shape and slope. ValueError for a shape or slope that doesn't exist."""
    if slope_db_per_octave not in SLOPES_DB_PER_OCTAVE.get(shape, ()):
        raise ValueError(f"no filter is {shape} {slope_db_per_octave} dB/octave")
    function = {
        "butterworth": butterworth_response,
        "linkwitz-riley": linkwitz_riley_response,
        "bessel": bessel_response,
    }[shape]
    return function(frequency_hz=frequency_hz, corner_hz=corner_hz, order=slope_db_per_octave // 6, kind=kind)


def corner_for_loss(*, shape: str, slope_db_per_octave: int, kind: Kind, frequency_hz: float, loss_db: float) -> float:
    """Return the corner at which a filter takes `loss_db` from a tone, Hz.

    Butterworth: (f/fc)^2n = 10^(loss/10) - 1; Linkwitz-Riley: (f/fc)^n = 10^(loss/20) - 1; Bessel by halving.
    """
    order = slope_db_per_octave / 6
    if shape == "butterworth":
        ratio = (10 ** (loss_db / 10) - 1) ** (1 / (2 * order))
    elif shape == "linkwitz-riley":
        ratio = (10 ** (loss_db / 20) - 1) ** (1 / order)
    else:
        ratio = _ratio_by_halving(shape, slope_db_per_octave, loss_db)
    return float(frequency_hz / ratio if kind == "low" else frequency_hz * ratio)


def _ratio_by_halving(shape: str, slope_db_per_octave: int, loss_db: float) -> float:
    low, high = 1e-6, 1e3
    for _ in range(200):
        middle = math.sqrt(low * high)
        response = filter_response(
            shape=shape, slope_db_per_octave=slope_db_per_octave, corner_hz=1.0, kind="low", frequency_hz=middle
        )
        low, high = (middle, high) if -20 * math.log10(float(np.abs(response))) < loss_db else (low, middle)
    return math.sqrt(low * high)


def peak_response(*, frequency_hz: Any, centre_hz: Any, gain_db: Any, q: Any) -> Complexes:
    """Return a peaking band: (s^2 + s A/Q + 1)/(s^2 + s/(A Q) + 1), A = 10^(gain/40).

    W3C Audio EQ Cookbook, Working Group Note 8 June 2021.
    """
    s = _low_pass_s(frequency_hz, centre_hz, "low")
    a = 10 ** (np.asarray(gain_db) / 40)
    square = s * s
    return np.asarray((square + s * (a / q) + 1) / (square + s / (a * q) + 1))


def low_shelf_response(*, frequency_hz: Any, corner_hz: Any, gain_db: Any, q: Any) -> Complexes:
    """Return a low shelf: A (s^2 + s sqrt(A)/Q + A)/(A s^2 + s sqrt(A)/Q + 1), A = 10^(gain/40).

    W3C Audio EQ Cookbook, Working Group Note 8 June 2021. Half of the gain (in dB) at the corner.
    """
    s = _low_pass_s(frequency_hz, corner_hz, "low")
    a = 10 ** (np.asarray(gain_db) / 40)
    square, slope = s * s, s * (np.sqrt(a) / q)
    return np.asarray(a * (square + slope + a) / (a * square + slope + 1))


def high_shelf_response(*, frequency_hz: Any, corner_hz: Any, gain_db: Any, q: Any) -> Complexes:
    """Return a high shelf: A (A s^2 + s sqrt(A)/Q + 1)/(s^2 + s sqrt(A)/Q + A), A = 10^(gain/40).

    W3C Audio EQ Cookbook, Working Group Note 8 June 2021.
    """
    s = _low_pass_s(frequency_hz, corner_hz, "low")
    a = 10 ** (np.asarray(gain_db) / 40)
    square, slope = s * s, s * (np.sqrt(a) / q)
    return np.asarray(a * (a * square + slope + 1) / (square + slope + a))
