"""Analogue prototypes of crossover filters and equaliser bands, on arrays of frequencies.

Every response is H(s) at s = j f/corner (low-pass) or at its reciprocal (high-pass). Frequencies, corners, gains and q
broadcast against each other. Valid for filters that follow their analogue prototype: a digital filter made by bilinear
transform departs from it towards half its sample rate (an 80 Hz low-pass at 48 kHz by 0.05 dB at 1 kHz).
"""

from __future__ import annotations

import functools
import math
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Complexes = npt.NDArray[np.complex128]
    Kind = Literal["low", "high"]

SLOPES_DB_PER_OCTAVE = {
    "butterworth": (6, 12, 18, 24, 30, 36, 42, 48),
    "bessel": (6, 12, 18, 24, 30, 36, 42, 48),
    "linkwitz-riley": (12, 24, 36, 48),
}
"""Shape -> its possible slopes."""


def _ratio(frequency_hz: Any, corner_hz: Any) -> Floats:
    return np.asarray(np.asarray(frequency_hz, dtype=np.float64) / np.asarray(corner_hz, dtype=np.float64))


def _complex(real: Any, imaginary: Any) -> Complexes:
    joined = np.empty(np.broadcast_shapes(np.shape(real), np.shape(imaginary)), dtype=np.complex128)
    joined.real, joined.imag = real, imaginary
    return joined


def _over_poles(ratio: Floats, kind: str, poles: tuple[complex, ...]) -> Complexes:
    """Return prod(-p)/prod(s - p) at s = j ratio, or at 1/s for a high-pass; pairs of poles as real quadratics.

    For a high-pass, numerator and denominator are multiplied by s for each pole, so that it is 0 at frequency 0.
    """
    if kind not in ("low", "high"):
        raise ValueError(f"kind is low or high, not {kind!r}")
    high, square = kind == "high", ratio * ratio
    numerator: Any = 1.0
    denominator: Any = 1.0
    for pole in poles:
        if abs(pole.imag) < 1e-9:
            rate = -pole.real
            numerator = numerator * (1j * rate * ratio if high else rate)
            denominator = denominator * (_complex(1.0, rate * ratio) if high else _complex(rate, ratio))
        elif pole.imag > 0:
            size, damping = abs(pole) ** 2, -2 * pole.real
            numerator = numerator * (-size * square if high else size)
            real = 1 - size * square if high else size - square
            denominator = denominator * _complex(real, damping * ratio)
    return np.asarray(numerator / denominator, dtype=np.complex128)


def _whole_order(order: int) -> int:
    if order not in range(1, 9):
        raise ValueError(f"the order of a filter is 1 to 8, not {order}")
    return int(order)


@functools.cache
def _butterworth_poles(order: int) -> tuple[complex, ...]:
    angles = [math.pi * (2 * k + order - 1) / (2 * order) for k in range(1, order + 1)]
    return tuple(complex(math.cos(a), math.sin(a)) for a in angles)


@functools.cache
def _bessel_poles(order: int) -> tuple[complex, ...]:
    """Return the poles of the Bessel filter of unit delay scaled to -3.01 dB at 1 rad/s.

    Roots of the reverse Bessel polynomial theta_n(s) = sum over k of (2n-k)! s^k / (2^(n-k) k! (n-k)!).
    """
    f = math.factorial
    coefficients = [f(2 * order - k) / (2 ** (order - k) * f(k) * f(order - k)) for k in range(order, -1, -1)]

    def magnitude(w: float) -> float:
        return float(abs(coefficients[-1] / np.polyval(coefficients, 1j * w)))

    low, high = 0.0, 10.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if magnitude(middle) > math.sqrt(0.5) else (low, middle)
    return tuple(complex(p) / low for p in np.roots(coefficients))


def prototype_poles(*, shape: str, slope_db_per_octave: int) -> tuple[complex, ...]:
    """Return the poles of a low-pass with its corner at 1 rad/s, one for each 6 dB per octave; it is 1 at 0 Hz.

    Sources: the response of each shape. A Linkwitz-Riley filter has those of its Butterworth half twice. ValueError for a
    shape or slope that doesn't exist.
    """
    if slope_db_per_octave not in SLOPES_DB_PER_OCTAVE.get(shape, ()):
        raise ValueError(f"there is no filter {shape} {slope_db_per_octave} dB/octave")
    order = slope_db_per_octave // 6
    if shape == "linkwitz-riley":
        return 2 * _butterworth_poles(order // 2)
    return (_butterworth_poles if shape == "butterworth" else _bessel_poles)(order)


def butterworth_response(*, frequency_hz: Any, corner_hz: Any, order: int, kind: Kind) -> Complexes:
    """Return a Butterworth filter's response: poles exp(j pi (2k+n-1)/(2n)), |H|^2 = 1/(1 + (f/fc)^2n).

    Butterworth, Experimental Wireless 7, 1930; -3.01 dB at the corner, a high-pass by s -> 1/s. Valid for frequencies
    from 0, corners above 0, order 1 to 8; ValueError for another order or kind. Shape: that of frequency and corner.
    """
    return _over_poles(_ratio(frequency_hz, corner_hz), kind, _butterworth_poles(_whole_order(order)))


def linkwitz_riley_response(*, frequency_hz: Any, corner_hz: Any, order: int, kind: Kind) -> Complexes:
    """Return a Linkwitz-Riley filter's response: two Butterworth filters of half the order in series.

    Linkwitz, J. Audio Eng. Soc. 24(1), 1976; -6.02 dB at the corner. Orders 4 and 8 sum to an all-pass as they are.
    Orders 2 and 6 keep the textbook polarity: low and high pass cancel at the corner unless one of them is reversed.
    Order 2, 4, 6, 8; ValueError otherwise. Shape: that of frequency and corner.
    """
    if order not in (2, 4, 6, 8):
        raise ValueError(f"Linkwitz-Riley orders are 2, 4, 6, 8, not {order}")
    half = butterworth_response(frequency_hz=frequency_hz, corner_hz=corner_hz, order=order // 2, kind=kind)
    return np.asarray(half * half)


def bessel_response(*, frequency_hz: Any, corner_hz: Any, order: int, kind: Kind) -> Complexes:
    """Return a Bessel filter's response: theta_n(0)/theta_n(s), theta_n the reverse Bessel polynomial.

    Thomson, Proc. IEE 96 Part III, 1949; scaled to -3.01 dB at the corner (makers also scale by delay or by phase, which
    puts the corner elsewhere), a high-pass by s -> 1/s. Valid for order 1 to 8; ValueError for another order or kind.
    """
    return _over_poles(_ratio(frequency_hz, corner_hz), kind, _bessel_poles(_whole_order(order)))


def filter_response(
    *, shape: str, slope_db_per_octave: int, corner_hz: Any, kind: Kind, frequency_hz: Any
) -> Complexes:
    """Return the response of a filter named by shape and slope; its order is the slope over 6.

    Sources and validity: the function of each shape. ValueError for a shape or slope that doesn't exist.
    """
    if slope_db_per_octave not in SLOPES_DB_PER_OCTAVE.get(shape, ()):
        raise ValueError(f"there is no filter {shape} {slope_db_per_octave} dB/octave")
    function = {
        "butterworth": butterworth_response,
        "linkwitz-riley": linkwitz_riley_response,
        "bessel": bessel_response,
    }[shape]
    return function(frequency_hz=frequency_hz, corner_hz=corner_hz, order=slope_db_per_octave // 6, kind=kind)


def corner_for_loss(*, shape: str, slope_db_per_octave: int, kind: Kind, frequency_hz: float, loss_db: float) -> float:
    """Return the corner at which a filter attenuates a tone by `loss_db`, Hz.

    Butterworth: (f/fc)^2n = 10^(loss/10) - 1; Linkwitz-Riley: (f/fc)^n = 10^(loss/20) - 1; Bessel by bisection; fc/f in
    place of f/fc for a high-pass. Each is the inverse of the shape's attenuation. ValueError for a filter that doesn't
    exist and for a loss that is not above 0 dB, which no corner gives.
    """
    if slope_db_per_octave not in SLOPES_DB_PER_OCTAVE.get(shape, ()) or kind not in ("low", "high"):
        raise ValueError(f"there is no filter {shape} {slope_db_per_octave} dB/octave, {kind}-pass")
    if not 0 < loss_db < 240:
        raise ValueError(f"a filter's loss lies between 0 and 240 dB, not {loss_db}")
    order = slope_db_per_octave // 6
    if shape == "butterworth":
        ratio = math.expm1(loss_db / 10 * math.log(10)) ** (1 / (2 * order))
    elif shape == "linkwitz-riley":
        ratio = math.expm1(loss_db / 20 * math.log(10)) ** (1 / order)
    else:
        ratio = _bessel_ratio(order, loss_db)
    return float(frequency_hz / ratio if kind == "low" else frequency_hz * ratio)


def _bessel_ratio(order: int, loss_db: float) -> float:
    low, high = 1e-9, 1e13
    for _ in range(90):
        middle = math.sqrt(low * high)
        response = bessel_response(frequency_hz=middle, corner_hz=1.0, order=order, kind="low")
        low, high = (middle, high) if -20 * math.log10(float(np.abs(response))) < loss_db else (low, middle)
    return math.sqrt(low * high)


def _amplitude(gain_db: Any) -> Floats:
    """Return the cookbook's A = 10^(gain/40), the square root of the voltage ratio."""
    return np.asarray(10 ** (np.asarray(gain_db, dtype=np.float64) / 40))


def peak_response(*, frequency_hz: Any, centre_hz: Any, gain_db: Any, q: Any) -> Complexes:
    """Return a peaking band: (s^2 + s A/Q + 1)/(s^2 + s/(A Q) + 1), A = 10^(gain/40).

    W3C Audio EQ Cookbook, Working Group Note 8 June 2021. The full gain at the centre, 0 dB far from it; valid for
    q above 0 and for a q that is meant as the cookbook's (other makers' bandwidths differ).
    """
    ratio, a, q = _ratio(frequency_hz, centre_hz), _amplitude(gain_db), np.asarray(q, dtype=np.float64)
    real = 1 - ratio * ratio
    return np.asarray(_complex(real, ratio * (a / q)) / _complex(real, ratio / (a * q)))


def low_shelf_response(*, frequency_hz: Any, corner_hz: Any, gain_db: Any, q: Any) -> Complexes:
    """Return a low shelf: A (s^2 + s sqrt(A)/Q + A)/(A s^2 + s sqrt(A)/Q + 1), A = 10^(gain/40).

    W3C Audio EQ Cookbook, Working Group Note 8 June 2021. Half of the gain (in dB) at the corner, all of it at 0 Hz;
    valid for q above 0; a shelf slope S of 1 is a q of 1/sqrt(2).
    """
    ratio, a, q = _ratio(frequency_hz, corner_hz), _amplitude(gain_db), np.asarray(q, dtype=np.float64)
    square, middle = ratio * ratio, ratio * (np.sqrt(a) / q)
    return np.asarray(a * _complex(a - square, middle) / _complex(1 - a * square, middle))


def high_shelf_response(*, frequency_hz: Any, corner_hz: Any, gain_db: Any, q: Any) -> Complexes:
    """Return a high shelf: A (A s^2 + s sqrt(A)/Q + 1)/(s^2 + s sqrt(A)/Q + A), A = 10^(gain/40).

    W3C Audio EQ Cookbook, Working Group Note 8 June 2021. Half of the gain (in dB) at the corner, all of it far above;
    valid for q above 0; a shelf slope S of 1 is a q of 1/sqrt(2).
    """
    ratio, a, q = _ratio(frequency_hz, corner_hz), _amplitude(gain_db), np.asarray(q, dtype=np.float64)
    square, middle = ratio * ratio, ratio * (np.sqrt(a) / q)
    return np.asarray(a * _complex(1 - a * square, middle) / _complex(a - square, middle))
