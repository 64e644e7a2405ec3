"""Crossover filters against scipy.signal, python-control, handbook polynomials and closed forms."""

from __future__ import annotations

from typing import Any, Literal

import control
import numpy as np
import pytest
import scipy.integrate
import scipy.signal

from gainwright import physics

KINDS: list[Literal["low", "high"]] = ["low", "high"]
CORNER_HZ = 80.0
FREQUENCY_HZ = np.geomspace(1.0, 20e3, 60)
SAME = 1e-9
"""Relative: both sides are a few dozen operations in double precision on well-kept polynomials."""


def loss_db(response: Any) -> Any:
    """Return how much a response takes, dB."""
    return -20 * np.log10(np.abs(response))


def by_scipy(shape: str, order: int, kind: str) -> Any:
    """Return the response that scipy.signal gives, from its zeros and poles."""
    corner = 2 * np.pi * CORNER_HZ
    if shape == "butterworth":
        zpk = scipy.signal.butter(order, corner, kind, analog=True, output="zpk")
    else:
        zpk = scipy.signal.bessel(order, corner, kind, analog=True, output="zpk", norm="mag")
    return scipy.signal.freqs_zpk(*zpk, worN=2 * np.pi * FREQUENCY_HZ)[1]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("order", range(1, 9))
def test_butterworth_and_bessel_are_scipys(order: int, kind: Literal["low", "high"]) -> None:
    """scipy.signal.butter and bessel(norm="mag"), analogue, complex response from 1 Hz to 20 kHz."""
    common: dict[str, Any] = {"frequency_hz": FREQUENCY_HZ, "corner_hz": CORNER_HZ, "order": order, "kind": kind}
    np.testing.assert_allclose(physics.butterworth_response(**common), by_scipy("butterworth", order, kind), rtol=SAME)
    np.testing.assert_allclose(physics.bessel_response(**common), by_scipy("bessel", order, kind), rtol=SAME)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("order", [2, 4, 6, 8])
def test_linkwitz_riley_is_a_control_librarys_cascade(order: int, kind: Literal["low", "high"]) -> None:
    """python-control: two Butterworth systems of half the order in series, on a normalised frequency axis."""
    half = control.tf(*scipy.signal.butter(order // 2, 1.0, kind, analog=True))
    expected = (half * half)(1j * FREQUENCY_HZ / CORNER_HZ)
    found = physics.linkwitz_riley_response(frequency_hz=FREQUENCY_HZ, corner_hz=CORNER_HZ, order=order, kind=kind)
    np.testing.assert_allclose(found, expected, rtol=SAME)


@pytest.mark.parametrize(
    ("order", "polynomial"),
    [
        (2, [1, 1.414214, 1]),
        (3, [1, 2, 2, 1]),
        (4, [1, 2.613126, 3.414214, 2.613126, 1]),
        (5, [1, 3.236068, 5.236068, 5.236068, 3.236068, 1]),
    ],
)
def test_butterworth_polynomials_of_the_handbooks(order: int, polynomial: list[float]) -> None:
    """Denominators as filter handbooks print them (six decimals, from memory), evaluated by python-control."""
    system = control.tf([1.0], polynomial)
    found = physics.butterworth_response(frequency_hz=FREQUENCY_HZ, corner_hz=CORNER_HZ, order=order, kind="low")
    np.testing.assert_allclose(found, system(1j * FREQUENCY_HZ / CORNER_HZ), rtol=1.5e-6)


@pytest.mark.parametrize(
    ("order", "polynomial"),
    [(2, [1, 3, 3]), (3, [1, 6, 15, 15]), (4, [1, 10, 45, 105, 105]), (5, [1, 15, 105, 420, 945, 945])],
)
def test_bessel_polynomials_of_the_handbooks(order: int, polynomial: list[float]) -> None:
    """Reverse Bessel polynomials (Thomson 1949): the same response, except for the scale that puts -3.01 dB at the corner."""
    system = control.tf([polynomial[-1]], polynomial)
    scale = {2: 1.36165, 3: 1.75567, 4: 2.11392, 5: 2.42741}[
        order
    ]  # -3 dB frequencies of unit delay, handbooks, from memory
    found = physics.bessel_response(frequency_hz=FREQUENCY_HZ, corner_hz=CORNER_HZ, order=order, kind="low")
    np.testing.assert_allclose(found, system(1j * scale * FREQUENCY_HZ / CORNER_HZ), rtol=3e-5)


@pytest.mark.parametrize(
    ("shape", "slope", "printed"),
    [
        ("butterworth", 6, {1000: 21.9659}),
        ("butterworth", 12, {40: 0.2633, 80: 3.0103, 160: 12.3045, 1000: 43.8766}),
        ("butterworth", 18, {1000: 65.8146}),
        ("butterworth", 24, {40: 0.0169, 80: 3.0103, 160: 24.0993, 1000: 87.7528}),
        ("linkwitz-riley", 12, {1000: 43.9318}),
        ("linkwitz-riley", 24, {40: 0.5266, 80: 6.0206, 160: 24.6090, 1000: 87.7532}),
        ("linkwitz-riley", 48, {1000: 175.5056}),
        ("bessel", 12, {80: 3.0103, 160: 9.8153, 1000: 39.7419}),
        ("bessel", 24, {80: 3.0103, 160: 13.4054, 1000: 73.3990}),
    ],
)
def test_losses_of_an_80_hz_filter(shape: str, slope: int, printed: dict[float, float]) -> None:
    """10 lg(1+(f/fc)^2n), 20 lg(1+(f/fc)^n) and scipy's Bessel, printed to 0.1 mdB; a high-pass mirrors it."""
    common: dict[str, Any] = {"shape": shape, "slope_db_per_octave": slope, "corner_hz": CORNER_HZ}
    tones_hz = np.array(list(printed), dtype=np.float64)
    low = physics.filter_response(**common, kind="low", frequency_hz=tones_hz)
    high = physics.filter_response(**common, kind="high", frequency_hz=CORNER_HZ**2 / tones_hz)
    np.testing.assert_allclose(loss_db(low), list(printed.values()), atol=5.1e-5)
    np.testing.assert_allclose(high, np.conj(low), rtol=1e-12)


@pytest.mark.parametrize(("order", "ratio"), [(1, 1.570796), (2, 1.110721), (3, 1.047198), (4, 1.026172)])
def test_noise_bandwidth(order: int, ratio: float) -> None:
    """Noise bandwidth over corner: pi/(2n sin(pi/2n)) (handbook), by quadrature of |H|^2, six decimals."""

    def power(frequency: float) -> float:
        return float(
            np.abs(physics.butterworth_response(frequency_hz=frequency, corner_hz=1.0, order=order, kind="low")) ** 2
        )

    found = scipy.integrate.quad(power, 0, np.inf, epsabs=1e-9, limit=200)[0]
    assert found == pytest.approx(ratio, abs=1e-6)


def test_crossover_sums() -> None:
    """Linkwitz 1976: orders 4 and 8 sum to magnitude 1 as they are, 2 and 6 with one inverted; order 2 in phase has a null.

    Magnitude 1 within 1e-12: exact but for rounding.
    """
    for order, sign in ((2, -1), (4, 1), (6, -1), (8, 1)):
        common: dict[str, Any] = {"frequency_hz": FREQUENCY_HZ, "corner_hz": CORNER_HZ, "order": order}
        low = physics.linkwitz_riley_response(**common, kind="low")
        high = physics.linkwitz_riley_response(**common, kind="high")
        np.testing.assert_allclose(np.abs(low + sign * high), 1.0, rtol=1e-12)
    at_corner: dict[str, Any] = {"frequency_hz": CORNER_HZ, "corner_hz": CORNER_HZ, "order": 2}
    for function in (physics.linkwitz_riley_response, physics.butterworth_response):
        assert abs(complex(function(**at_corner, kind="low") + function(**at_corner, kind="high"))) < 1e-15


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("shape", "slope"),
    [("butterworth", 24), ("linkwitz-riley", 24), ("bessel", 24), ("bessel", 6), ("butterworth", 48)],
)
def test_corner_for_a_loss_gives_that_loss(shape: str, slope: int, kind: Literal["low", "high"]) -> None:
    """With the corner found, scipy's (or the closed form's) filter has just that loss for a 1 kHz tone, to 1e-9 dB."""
    for loss in (0.01, 0.5, 3.0, 60.0, 120.0):
        corner_hz = physics.corner_for_loss(
            shape=shape, slope_db_per_octave=slope, kind=kind, frequency_hz=1000.0, loss_db=loss
        )
        order = slope // 6
        ratio = 1000.0 / corner_hz if kind == "low" else corner_hz / 1000.0
        if shape == "butterworth":
            found = 10 * np.log10(1 + ratio ** (2 * order))
        elif shape == "linkwitz-riley":
            found = 20 * np.log10(1 + ratio**order)
        else:
            zpk = scipy.signal.bessel(order, 1.0, "low", analog=True, output="zpk", norm="mag")
            found = loss_db(scipy.signal.freqs_zpk(*zpk, worN=[ratio])[1][0])
        assert found == pytest.approx(loss, rel=1e-9, abs=1e-9)


def test_wrong_filters_are_noticed() -> None:
    """The checks can fail: a corner off by 1e-6, a neighbouring order and Bessel by delay are all outside tolerance."""
    common: dict[str, Any] = {"frequency_hz": FREQUENCY_HZ, "kind": "low"}
    expected = by_scipy("butterworth", 4, "low")
    for wrong in (
        physics.butterworth_response(**common, corner_hz=CORNER_HZ * (1 + 1e-6), order=4),
        physics.butterworth_response(**common, corner_hz=CORNER_HZ, order=5),
        physics.linkwitz_riley_response(**common, corner_hz=CORNER_HZ, order=4),
    ):
        assert np.max(np.abs(wrong / expected - 1)) > 100 * SAME
    by_delay = scipy.signal.bessel(4, 2 * np.pi * CORNER_HZ, "low", analog=True, output="zpk", norm="delay")
    other = scipy.signal.freqs_zpk(*by_delay, worN=2 * np.pi * FREQUENCY_HZ)[1]
    found = physics.bessel_response(**common, corner_hz=CORNER_HZ, order=4)
    assert np.max(np.abs(found / other - 1)) > 0.1
