"""Equaliser bands against the W3C Audio EQ Cookbook (Working Group Note, 8 June 2021) and python-control.

The cookbook's digital filters are bilinear transforms, pre-warped to the band's frequency, of its analogue prototypes. So
the prototypes' coefficients are read off our responses, transformed by scipy.signal.bilinear, and compared with the
digital coefficients: those of the note's formulas worked out, which sox's impulse responses also showed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import scipy.signal

from gainwright import physics

if TYPE_CHECKING:
    from collections.abc import Callable

RATE_HZ = 48e3
DIGITS = 1e-9
"""Ten decimals are printed."""

# name -> frequency Hz, b0 b1 b2 a1 a2 (a0 = 1)
PRINTED = {
    "peak": (1000.0, [1.0439530870, -1.8953207239, 0.8677222848, -1.8953207239, 0.9116753718]),
    "low-pass": (80.0, [0.0000272138, 0.0000544276, 0.0000272138, -1.9851906579, 0.9852995131]),
    "high-pass": (80.0, [0.9926225428, -1.9852450855, 0.9926225428, -1.9851906579, 0.9852995131]),
    "low-shelf": (100.0, [1.0032178957, -1.9843644308, 0.9813866987, -1.9844243291, 0.9845446961]),
    "high-shelf": (8000.0, [0.7396657245, -0.3675634109, 0.1594486281, -0.7379990113, 0.2695499530]),
}
S_OF_ONE = 1 / np.sqrt(2)

RESPONSES: dict[str, Callable[[Any], Any]] = {
    "peak": lambda f: physics.peak_response(frequency_hz=f, centre_hz=1.0, gain_db=6, q=1),
    "low-pass": lambda f: physics.butterworth_response(frequency_hz=f, corner_hz=1.0, order=2, kind="low"),
    "high-pass": lambda f: physics.butterworth_response(frequency_hz=f, corner_hz=1.0, order=2, kind="high"),
    "low-shelf": lambda f: physics.low_shelf_response(frequency_hz=f, corner_hz=1.0, gain_db=6, q=S_OF_ONE),
    "high-shelf": lambda f: physics.high_shelf_response(frequency_hz=f, corner_hz=1.0, gain_db=-4, q=S_OF_ONE),
}


def digital(response: Callable[[Any], Any], frequency_hz: float) -> Any:
    """Return b0 b1 b2 a1 a2 of the pre-warped bilinear transform of a second-order response with its corner at 1."""
    ratio = np.geomspace(0.05, 20, 24)
    s, h = 1j * ratio, response(ratio)
    rows = np.stack([s**2, s, np.ones_like(s), -h * s**2, -h * s], axis=1)
    both = np.concatenate([rows.real, rows.imag]), np.concatenate([h.real, h.imag])
    b2, b1, b0, a2, a1 = np.linalg.lstsq(*both)[0]
    warped = np.tan(np.pi * frequency_hz / RATE_HZ)
    b, a = scipy.signal.bilinear([b2 / warped**2, b1 / warped, b0], [a2 / warped**2, a1 / warped, 1.0], fs=0.5)
    return np.concatenate([b, a[1:]])


@pytest.mark.parametrize("name", PRINTED)
def test_digital_coefficients_of_the_cookbook(name: str) -> None:
    """Peaking 1 kHz +6 dB, second-order low and high pass 80 Hz, low shelf 100 Hz +6 dB, high shelf 8 kHz -4 dB."""
    frequency_hz, expected = PRINTED[name]
    np.testing.assert_allclose(digital(RESPONSES[name], frequency_hz), expected, rtol=0, atol=DIGITS)


def test_prototypes_are_those_of_a_control_library() -> None:
    """The note's H(s) written with python-control's s, at four gains and three q; relative 1e-9."""
    import control  # with matplotlib: nothing that every test process has to load

    s = control.tf("s")
    f = np.geomspace(0.01, 100, 50)
    for gain_db in (-12.0, -3.0, 0.0, 9.0):
        for q in (0.4, 1 / np.sqrt(2), 6.0):
            a = 10 ** (gain_db / 40)
            r = np.sqrt(a) / q
            prototypes = {
                "peak": (s**2 + s * (a / q) + 1) / (s**2 + s / (a * q) + 1),
                "low": a * (s**2 + r * s + a) / (a * s**2 + r * s + 1),
                "high": a * (a * s**2 + r * s + 1) / (s**2 + r * s + a),
            }
            common = {"frequency_hz": 50 * f, "gain_db": gain_db, "q": q}
            found = {
                "peak": physics.peak_response(centre_hz=50.0, **common),
                "low": physics.low_shelf_response(corner_hz=50.0, **common),
                "high": physics.high_shelf_response(corner_hz=50.0, **common),
            }
            for name, system in prototypes.items():
                np.testing.assert_allclose(found[name], system(1j * f), rtol=1e-9, err_msg=f"{name} {gain_db} {q}")


def test_gain_at_centre_and_corner() -> None:
    """A peak has its whole gain at the centre and none far from it; a shelf has half of it at the corner (the note)."""
    marks = np.array([1e-6, 1.0, 1e6])
    peak_db = 20 * np.log10(np.abs(physics.peak_response(frequency_hz=marks, centre_hz=1.0, gain_db=6, q=1.0)))
    low_db = 20 * np.log10(np.abs(physics.low_shelf_response(frequency_hz=marks, corner_hz=1.0, gain_db=6, q=S_OF_ONE)))
    high_db = 20 * np.log10(
        np.abs(physics.high_shelf_response(frequency_hz=marks, corner_hz=1.0, gain_db=-4, q=S_OF_ONE))
    )
    np.testing.assert_allclose(peak_db, [0, 6, 0], atol=1e-9)
    np.testing.assert_allclose(low_db, [6, 3, 0], atol=1e-9)
    np.testing.assert_allclose(high_db, [0, -2, -4], atol=1e-9)


def test_wrong_gain_law_is_noticed() -> None:
    """The check can fail: A = 10^(gain/20), or a q off by 1e-6, miss the printed coefficients."""
    frequency_hz, expected = PRINTED["peak"]

    def doubled(f: Any) -> Any:
        return physics.peak_response(frequency_hz=f, centre_hz=1.0, gain_db=12, q=1)

    def broader(f: Any) -> Any:
        return physics.peak_response(frequency_hz=f, centre_hz=1.0, gain_db=6, q=1 - 1e-6)

    for wrong in (doubled, broader):
        assert np.max(np.abs(digital(wrong, frequency_hz) - expected)) > 10 * DIGITS
