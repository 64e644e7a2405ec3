"""The harmonic-domain engine against the closed form of a hard-clipped sine.

The closed form is the Fourier series of a symmetrically clipped sine: with y = clip(A sin t, -1, 1) and a = arcsin(1/A),
b1 = (2A/pi)(a + sqrt(1 - 1/A^2)/A), mean square = (2/pi)[A^2 (a/2 - sin(2a)/4) + pi/2 - a], and for odd n
bn = (4/pi)[(A/2)(sin((n-1)a)/(n-1) - sin((n+1)a)/(n+1)) + cos(na)/n]. THD of 1 and 3 dB was also had from ngspice's
`fourier` (4.63141 % and 13.3793 % for the harmonics 2 to 59).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from gainwright.solve.steady_state import HARMONICS, Cell, CellState, run

DEPTHS_DB = np.array([0.1, 0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 10.0, 20.0])
PHASES = 16


def closed_form(drive: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return fundamental, mean square and THD of a clipped sine."""
    angle = np.arcsin(1 / drive)
    first = 2 * drive / np.pi * (angle + np.sqrt(1 - 1 / drive**2) / drive)
    square = 2 / np.pi * (drive**2 * (angle / 2 - np.sin(2 * angle) / 4) + np.pi / 2 - angle)
    return first, square, np.sqrt(square - first**2 / 2) / (first / np.sqrt(2))


def clipped_at_many_phases(depths_db: np.ndarray, ceiling: float = 1.0) -> CellState:
    """Clip sines of given depths, each at sixteen phases against the sampling grid."""
    drive = np.repeat(10 ** (depths_db / 20), PHASES) * ceiling
    phases = np.tile(np.random.default_rng(3).uniform(0, 2 * np.pi, PHASES), len(depths_db))

    def turn(frequency_hz: Any, rows: Any) -> Any:
        return np.exp(1j * phases[rows][:, None] * np.round(frequency_hz / 1000.0))

    return run([Cell([], turn, 1.0, 0.0, ceiling)], tone_hz=np.array([1000.0]), source_peak=drive)[0]


def test_thd_and_rms_of_a_clipped_sine_follow_the_closed_form() -> None:
    """THD within 5e-5 of its value (1e-5 from 0.25 dB) and rms within 1e-6, at every phase of the kinks."""
    drive = np.repeat(10 ** (DEPTHS_DB / 20), PHASES)
    _, square, thd = closed_form(drive)
    state = clipped_at_many_phases(DEPTHS_DB)
    np.testing.assert_allclose(state.wave.thd, thd, rtol=5e-5)
    np.testing.assert_allclose(state.wave.thd[PHASES:], thd[PHASES:], rtol=1e-5)
    np.testing.assert_allclose(state.wave.rms, np.sqrt(square), rtol=1e-6)


@pytest.mark.parametrize(("depth_db", "thd_percent"), [(1.0, 4.6316), (3.0, 13.3795), (6.0, 23.2371), (10.0, 32.1637)])
def test_thd_of_the_printed_table(depth_db: float, thd_percent: float) -> None:
    """The table of clipped sines (IEC 60268-3 THD re fundamental), to one unit of its last printed digit."""
    state = clipped_at_many_phases(np.array([depth_db]))
    np.testing.assert_allclose(100 * state.wave.thd, thd_percent, rtol=0, atol=1.01e-4)


@pytest.mark.parametrize("order", [3, 5, 7, 19])
def test_harmonics_of_a_clipped_sine(order: int) -> None:
    """Single harmonics within 3e-6 of the ceiling (aliasing held below -110 dB)."""
    drive = 10 ** (DEPTHS_DB / 20)
    angle = np.arcsin(1 / drive)
    part = np.sin((order - 1) * angle) / (order - 1) - np.sin((order + 1) * angle) / (order + 1)
    expected = np.abs(4 / np.pi * (drive / 2 * part + np.cos(order * angle) / order))
    found = np.abs(clipped_at_many_phases(DEPTHS_DB).wave.harmonics(20)[:, order - 1]).reshape(-1, PHASES)
    assert np.max(np.abs(found - expected[:, None])) < 3e-6


@pytest.mark.parametrize(
    ("drive", "gain"), [(1.25, 0.895912), (1.5, 0.780898), (2, 0.608998), (5, 0.252940), (10, 0.127111)]
)
def test_describing_function_of_saturation(drive: float, gain: float) -> None:
    """Fundamental over input: (2/pi)(arcsin s + s sqrt(1-s^2)), s = 1/A, control handbooks; six printed digits."""
    state = clipped_at_many_phases(np.array([20 * np.log10(drive)]))
    np.testing.assert_allclose(np.abs(state.wave.few[:, 0]) / drive, gain, atol=2e-6)


def test_wrong_ceiling_is_noticed() -> None:
    """The check above can fail: a ceiling off by 0.1 % moves the THD of a 1 dB clip by far more than the tolerance."""
    _, _, thd = closed_form(np.array([10 ** (1 / 20)]))
    state = clipped_at_many_phases(np.array([1.0 + 20 * np.log10(1.001)]))
    assert np.all(np.abs(state.wave.thd / thd - 1) > 1e-3)


def test_filter_after_clipping_multiplies_each_harmonic() -> None:
    """A square-like wave through H(f) = 1/(1 + jf/f0) keeps each harmonic times |H|: linear system theory."""
    drive = np.array([100.0])

    def low(frequency_hz: Any, _rows: Any) -> Any:
        return 1 / (1 + 1j * frequency_hz / 2000.0)

    states = run(
        [Cell([], None, 1.0, 0.0, 1.0), Cell([(0, 1.0)], low, 1.0, 0.0, np.inf)],
        tone_hz=np.array([1000.0]),
        source_peak=drive,
    )
    before, after = (np.abs(s.wave.harmonics(15)[0]) for s in states)
    order = np.arange(1, 16)
    np.testing.assert_allclose(after, before / np.sqrt(1 + (order / 2) ** 2), rtol=1e-9, atol=1e-12)


def test_two_equal_ceilings_clip_as_one() -> None:
    """Clipping at a ceiling that was already applied changes nothing (clipping is idempotent), to the aliasing bound."""
    cells = [Cell([], None, 1.0, 0.0, 1.0), Cell([(0, 1.0)], None, 1.0, 0.0, 1.0)]
    states = run(cells, tone_hz=np.array([50.0]), source_peak=np.array([3.0]))
    np.testing.assert_allclose(states[1].wave.thd, states[0].wave.thd, rtol=2e-3)
    assert HARMONICS == 255
