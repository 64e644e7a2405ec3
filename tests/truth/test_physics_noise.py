"""Sums of powers and the weighting A against published figures and tables."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.integrate

from gainwright import physics

# IEC 61672-1:2013, Table 3 (second hand: two agreeing transcriptions): A at 10^(n/10) Hz, n = 10 .. 43
TABLE_3_A = [
    *(-70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9, -8.6, -6.6),
    *(-4.8, -3.2, -1.9, -0.8, 0.0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3),
]
EXACT_HZ = 1000 * 10 ** (0.1 * (np.arange(10, 44) - 30))
HALF_DIGIT = 0.0501


def test_weighting_a_in_every_row_of_the_table() -> None:
    """IEC 61672-1:2013, Table 3: all 34 rows, rounded to 0.1 dB, at the exact third-octave frequencies."""
    np.testing.assert_allclose(physics.a_weighting_db(frequency_hz=EXACT_HZ), TABLE_3_A, atol=HALF_DIGIT)


def test_weighting_poles_and_normalisation() -> None:
    """IEC 61672-1:2013, Annex E prints f1 to f4 as 20.60, 107.7, 737.9 and 12194 Hz."""
    from gainwright.physics.noise import WEIGHTING_POLES_HZ

    np.testing.assert_allclose(WEIGHTING_POLES_HZ, [20.60, 107.7, 737.9, 12194], rtol=5e-4)
    assert abs(WEIGHTING_POLES_HZ[3] - 12194) < 0.5
    assert float(physics.a_weighting_db(frequency_hz=1000.0)) == 0.0


@pytest.mark.parametrize(("slope", "expected_db"), [(0, -2.048), (-1, -2.859)])
def test_weighted_noise_over_the_audio_band(slope: int, expected_db: float) -> None:
    """A less flat, 20 Hz to 20 kHz, white and pink: also computed from Table 3's bands, hence 0.02 dB."""

    def power(octave: float, flat: bool = False) -> float:
        f = 2**octave
        weight = 1.0 if flat else 10 ** (float(physics.a_weighting_db(frequency_hz=f)) / 10)
        return float(weight * f ** (slope + 1))

    low, high = np.log2(20), np.log2(20e3)
    weighted = scipy.integrate.quad(power, low, high)[0]
    flat = scipy.integrate.quad(power, low, high, args=(True,))[0]
    assert 10 * np.log10(weighted / flat) == pytest.approx(expected_db, abs=0.02)


@pytest.mark.parametrize(
    ("levels_db", "expected_db"),
    [((-100, -103), -98.236), ((0, -10), 0.4139), ((60, 60), 63.0103), ((-np.inf, -90), -90.0)],
)
def test_sums_of_powers(levels_db: tuple[float, float], expected_db: float) -> None:
    """-100 and -103 dBu are -98.236 dBu; 10 dB lower adds 0.4139 dB; two equal ones add 3.0103 dB (10 lg 2)."""
    assert float(physics.sum_of_powers_db(levels_db=levels_db)) == pytest.approx(expected_db, abs=5e-4)


def test_wrong_weightings_are_noticed() -> None:
    """The table can fail: nominal in place of exact frequencies, and frequencies 3 % off, miss a row."""
    nominal = physics.a_weighting_db(frequency_hz=np.round(EXACT_HZ, -1))
    assert np.max(np.abs(nominal - TABLE_3_A)) > 2 * HALF_DIGIT
    shifted = physics.a_weighting_db(frequency_hz=EXACT_HZ * 1.03)
    assert np.max(np.abs(shifted - TABLE_3_A)) > 2 * HALF_DIGIT


def test_weighting_c_as_printed() -> None:
    """IEC 61672-1, table 3 (from memory), at exact third-octave frequencies, rounded to 0.1 dB; a sine's peak is 3.01 dB higher."""
    printed = {31.5: -3.0, 63: -0.8, 125: -0.2, 250: 0.0, 1000: 0.0, 2000: -0.2, 4000: -0.8, 8000: -3.0, 16000: -8.5}
    exact = 1000 * 10 ** (np.round(10 * np.log10(np.array(list(printed)) / 1000)) / 10)
    found = physics.c_weighting_db(frequency_hz=exact)
    np.testing.assert_allclose(found, list(printed.values()), atol=HALF_DIGIT)
    peak = physics.tone_peak_dbc(level_db=131.0, frequency_hz=1000.0)
    # 140 dB are 200 Pa (2003/10/EC): 20 uPa 10^7
    pascal = 20e-6 * 10 ** (131 / 20) * np.sqrt(2)
    assert float(peak) == pytest.approx(20 * np.log10(pascal / 20e-6))
    bounds = (physics.EU_LIMIT_PEAK_DBC, physics.EU_UPPER_ACTION_PEAK_DBC, physics.EU_LOWER_ACTION_PEAK_DBC)
    for bound, pressure in zip(bounds, (200.0, 140.0, 112.0), strict=True):
        assert 20e-6 * 10 ** (bound / 20) == pytest.approx(pressure, rel=0.012)
