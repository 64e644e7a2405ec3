"""Thermal noise, sums of powers and the weightings A and C against published figures and tables."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import scipy.integrate

from gainwright import physics

if TYPE_CHECKING:
    from collections.abc import Callable

# IEC 61672-1:2013, Table 3 (second hand: two agreeing transcriptions): A and C at 10^(n/10) Hz, n = 10 .. 43
TABLE_3_A = [
    *(-70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9, -8.6, -6.6),
    *(-4.8, -3.2, -1.9, -0.8, 0.0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3),
]
TABLE_3_C = [
    *(-14.3, -11.2, -8.5, -6.2, -4.4, -3.0, -2.0, -1.3, -0.8, -0.5, -0.3, -0.2, -0.1, 0.0, 0.0, 0.0),
    *(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -0.1, -0.2, -0.3, -0.5, -0.8, -1.3, -2.0, -3.0, -4.4, -6.2, -8.5, -11.2),
]
EXACT_HZ = 1000 * 10 ** (0.1 * (np.arange(10, 44) - 30))
HALF_DIGIT = 0.0501


def test_weightings_a_and_c_in_every_row_of_the_table() -> None:
    """IEC 61672-1:2013, Table 3: all 34 rows, rounded to 0.1 dB, at the exact third-octave frequencies."""
    np.testing.assert_allclose(physics.a_weighting_db(frequency_hz=EXACT_HZ), TABLE_3_A, atol=HALF_DIGIT)
    np.testing.assert_allclose(physics.c_weighting_db(frequency_hz=EXACT_HZ), TABLE_3_C, atol=HALF_DIGIT)


def test_weighting_poles_and_normalisation() -> None:
    """IEC 61672-1:2013, Annex E prints f1 to f4 as 20.60, 107.7, 737.9 and 12194 Hz; C is -3.01 dB at 10^1.5, 10^3.9."""
    from gainwright.physics.noise import WEIGHTING_POLES_HZ

    np.testing.assert_allclose(WEIGHTING_POLES_HZ, [20.60, 107.7, 737.9, 12194], rtol=5e-4)
    assert abs(WEIGHTING_POLES_HZ[3] - 12194) < 0.5
    ends = physics.c_weighting_db(frequency_hz=np.array([10**1.5, 10**3.9]))
    # the standard's -3 dB is 1/sqrt(2) re the level at 1 kHz
    np.testing.assert_allclose(ends, -3.0103, atol=5e-5)
    assert float(physics.a_weighting_db(frequency_hz=1000.0)) == 0.0


@pytest.mark.parametrize(
    ("weighting", "slope", "expected_db"),
    [
        (physics.a_weighting_db, 0, -2.048),
        (physics.a_weighting_db, -1, -2.859),
        (physics.c_weighting_db, -1, -1.112),
    ],
)
def test_weighted_noise_over_the_audio_band(weighting: Callable[..., Any], slope: int, expected_db: float) -> None:
    """A less flat, 20 Hz to 20 kHz, white and pink; C less flat, pink: also computed from Table 3's bands, hence 0.02 dB."""

    def power(octave: float, flat: bool = False) -> float:
        f = 2**octave
        weight = 1.0 if flat else 10 ** (float(weighting(frequency_hz=f)) / 10)
        return float(weight * f ** (slope + 1))

    low, high = np.log2(20), np.log2(20e3)
    weighted = scipy.integrate.quad(power, low, high)[0]
    flat = scipy.integrate.quad(power, low, high, args=(True,))[0]
    assert 10 * np.log10(weighted / flat) == pytest.approx(expected_db, abs=0.02)


@pytest.mark.parametrize(
    ("resistance_ohm", "microvolts", "level_dbu"),
    [
        (150, 0.22038, -130.92),
        (200, 0.25448, -129.67),
        (600, 0.44077, -124.90),
        (1e3, 0.56902, -122.68),
        (10e3, 1.7994, -112.68),
        (50e3, 4.0236, -105.69),
    ],
)
def test_noise_of_resistances(resistance_ohm: float, microvolts: float, level_dbu: float) -> None:
    """Johnson-Nyquist at 293.15 K over 20 kHz (k exact, SI 2019), five digits and 0.01 dBu."""
    found = physics.thermal_noise_v(resistance_ohm=resistance_ohm, bandwidth_hz=20e3, temperature_k=293.15)
    assert 1e6 * float(found) == pytest.approx(microvolts, rel=2.8e-5)
    assert float(physics.dbu_from_volts(voltage_v=found)) == pytest.approx(level_dbu, abs=0.0051)


def test_noise_density_of_a_kiloohm() -> None:
    """1 kohm at 293.15 K: 4.0236 nV in 1 Hz; 290 and 300 K are -0.05 and +0.10 dB."""
    temperatures = np.array([293.15, 290, 300])
    found = physics.thermal_noise_v(resistance_ohm=1e3, bandwidth_hz=1.0, temperature_k=temperatures)
    assert 1e9 * found[0] == pytest.approx(4.0236, abs=5e-5)
    np.testing.assert_allclose(20 * np.log10(found[1:] / found[0]), [-0.05, 0.10], atol=0.0051)


def test_noise_figure_of_an_amplifier() -> None:
    """-80 dBu out at 40 dB of gain is -120 dBu at the input, 10.92 dB over a 150 ohm source (arithmetic)."""
    source_v = physics.thermal_noise_v(resistance_ohm=150, bandwidth_hz=20e3, temperature_k=293.15)
    assert -120 - float(physics.dbu_from_volts(voltage_v=source_v)) == pytest.approx(10.92, abs=0.0051)


@pytest.mark.parametrize(
    ("levels_db", "expected_db"),
    [((-100, -103), -98.236), ((0, -10), 0.4139), ((60, 60), 63.0103), ((-np.inf, -90), -90.0)],
)
def test_sums_of_powers(levels_db: tuple[float, float], expected_db: float) -> None:
    """-100 and -103 dBu are -98.236 dBu; 10 dB lower adds 0.4139 dB; two equal ones add 3.0103 dB (10 lg 2)."""
    assert float(physics.sum_of_powers_db(levels_db=levels_db)) == pytest.approx(expected_db, abs=5e-4)


def test_wrong_weightings_are_noticed() -> None:
    """The table can fail: nominal in place of exact frequencies, and C in place of A without f2, miss a row."""
    nominal = physics.a_weighting_db(frequency_hz=np.round(EXACT_HZ, -1))
    assert np.max(np.abs(nominal - TABLE_3_A)) > 2 * HALF_DIGIT
    shifted = physics.a_weighting_db(frequency_hz=EXACT_HZ * 1.03)
    assert np.max(np.abs(shifted - TABLE_3_A)) > 2 * HALF_DIGIT
