"""A clipped sine's closed forms against sums over a grid, a circuit simulator, a control library and a table.

The table was had by summing 2^20 points of clip(A sin t, -1, 1); the THD of 1 and 3 dB also by ngspice's `fourier`,
the rms also by sox `stats`. Tolerance: half of the last printed digit.
"""

from __future__ import annotations

import numpy as np
import pytest

from gainwright import physics

# depth dB, THD_F %, H3/H1 %, H5/H1 %, H7/H1 %, fundamental dB and rms dB re a sine that just touches, crest factor
TABLE = np.array(
    [
        [0.10, 0.3369, 0.144, -0.139, 0.131, 0.0872, 0.0873, 1.4001],
        [0.25, 0.9942, 0.549, -0.500, 0.432, 0.2002, 0.2007, 1.3819],
        [0.50, 2.1889, 1.460, -1.206, 0.884, 0.3621, 0.3642, 1.3561],
        [1.00, 4.6316, 3.684, -2.472, 1.188, 0.6242, 0.6335, 1.3147],
        [1.50, 6.9997, 6.087, -3.242, 0.756, 0.8323, 0.8535, 1.2819],
        [2.00, 9.2499, 8.477, -3.472, -0.078, 1.0029, 1.0399, 1.2546],
        [3.00, 13.3795, 12.923, -2.609, -1.837, 1.2664, 1.3434, 1.2116],
        [4.00, 17.0505, 16.755, -0.619, -2.773, 1.4583, 1.5828, 1.1786],
        [6.00, 23.2371, 22.584, 4.474, -1.644, 1.7110, 1.9393, 1.1312],
        [10.0, 32.1637, 28.951, 12.738, 5.128, 1.9499, 2.3775, 1.0756],
        [20.0, 43.0397, 32.889, 19.207, 13.167, 2.0837, 2.8218, 1.0219],
    ]
)
DRIVE = 10 ** (TABLE[:, 0] / 20)
HALF_DIGIT = 5.1e-5


def test_table_of_clipped_sines() -> None:
    """THD (re fundamental), fundamental, rms and crest factor at eleven clip depths."""
    rms = physics.clipped_sine_rms(drive=DRIVE)
    np.testing.assert_allclose(100 * physics.clipped_sine_thd(drive=DRIVE), TABLE[:, 1], atol=HALF_DIGIT)
    fundamental_db = 20 * np.log10(physics.clipped_sine_fundamental(drive=DRIVE))
    np.testing.assert_allclose(fundamental_db, TABLE[:, 5], atol=HALF_DIGIT)
    np.testing.assert_allclose(20 * np.log10(rms * np.sqrt(2)), TABLE[:, 6], atol=HALF_DIGIT)
    np.testing.assert_allclose(1 / rms, TABLE[:, 7], atol=HALF_DIGIT)


@pytest.mark.parametrize(("order", "column"), [(3, 2), (5, 3), (7, 4)])
def test_table_of_single_harmonics(order: int, column: int) -> None:
    """Third, fifth and seventh harmonic relative to the fundamental, with their signs."""
    found = physics.clipped_sine_harmonic(drive=DRIVE, order=order) / physics.clipped_sine_fundamental(drive=DRIVE)
    np.testing.assert_allclose(100 * found, TABLE[:, column], atol=5.1e-4)


def test_closed_forms_against_a_sum_over_a_grid() -> None:
    """Fourier sums, rms and rectified mean over 2^17 points; kinks leave an error of the grid's square, under 1e-8."""
    t = (np.arange(2**17) + 0.5) * 2 * np.pi / 2**17
    wave = np.clip(DRIVE[:, None] * np.sin(t), -1, 1)
    for order in (1, 2, 3, 4, 9, 21):
        summed = 2 * np.mean(wave * np.sin(order * t), axis=1)
        np.testing.assert_allclose(physics.clipped_sine_harmonic(drive=DRIVE, order=order), summed, atol=1e-8)
    np.testing.assert_allclose(physics.clipped_sine_rms(drive=DRIVE), np.sqrt(np.mean(wave**2, axis=1)), atol=1e-8)
    np.testing.assert_allclose(physics.clipped_sine_mean_abs(drive=DRIVE), np.mean(np.abs(wave), axis=1), atol=1e-8)


@pytest.mark.parametrize(("depth_db", "thd_percent"), [(1.0, 4.63141), (3.0, 13.3793)])
def test_thd_is_that_of_a_circuit_simulator(depth_db: float, thd_percent: float) -> None:
    """The result of ngspice 39 `fourier`, harmonics 2 to 59; its time grid is accurate to about 1e-4 of the value."""
    drive = 10 ** (depth_db / 20)
    harmonics = [float(physics.clipped_sine_harmonic(drive=drive, order=n)) for n in range(2, 60)]
    thd = np.sqrt(np.sum(np.square(harmonics))) / physics.clipped_sine_fundamental(drive=drive)
    assert 100 * float(thd) == pytest.approx(thd_percent, rel=1e-4)


@pytest.mark.parametrize(
    ("thd", "depth_db"), [(0.001, 0.036677), (0.01, 0.251261), (0.03, 0.665677), (0.05, 1.076376), (0.10, 2.173141)]
)
def test_clip_depth_for_a_thd(thd: float, depth_db: float) -> None:
    """Clip depth for 0.1, 1, 3, 5 and 10 % THD: numerical root by a library, printed to 1e-6 dB."""
    found_db = 20 * np.log10(physics.drive_for_thd(thd=thd))
    assert found_db == pytest.approx(depth_db, abs=1e-6)
    assert float(physics.clipped_sine_thd(drive=10 ** (found_db / 20))) == pytest.approx(thd, rel=1e-8)


def test_power_at_ten_per_cent_over_power_at_one() -> None:
    """A sine clipped to 10 % THD has 0.8968 dB (x 1.229) more power than at 1 %, and 1.0984 dB more than at the onset (closed form)."""
    rms = [float(physics.clipped_sine_rms(drive=physics.drive_for_thd(thd=thd))) for thd in (0.01, 0.1)]
    assert 20 * np.log10(rms[1] / rms[0]) == pytest.approx(0.8968, abs=HALF_DIGIT)
    assert 20 * np.log10(rms[1] * np.sqrt(2)) == pytest.approx(1.0984, abs=HALF_DIGIT)


def test_square_wave_is_the_limit() -> None:
    """THD of a square is sqrt(pi^2/8 - 1) = 48.342585 % (Blagouchine and Moreau, IEEE Trans. Commun. 59(9), 2011)."""
    drive = 1e6
    assert 100 * float(physics.clipped_sine_thd(drive=drive)) == pytest.approx(48.342585, abs=1e-4)
    for order in (1, 3, 5, 7):
        found = float(physics.clipped_sine_harmonic(drive=drive, order=order))
        assert found == pytest.approx(4 / (np.pi * order), abs=1e-5)


def test_fundamental_is_the_describing_function_of_saturation() -> None:
    """The fundamental over the drive: values of control handbooks, six digits, and python-control's `saturation_nonlinearity`."""
    import control  # with all of matplotlib

    drive = np.array([0.5, 1.0, 1.25, 1.5, 2, 5, 10])
    found = physics.clipped_sine_fundamental(drive=drive) / drive
    np.testing.assert_allclose(found[2:], [0.895912, 0.780898, 0.608998, 0.252940, 0.127111], atol=5.1e-7)
    saturation = control.saturation_nonlinearity(1.0)
    np.testing.assert_allclose(found, [saturation.describing_function(a) for a in drive], rtol=1e-12)


def test_wrong_forms_are_noticed() -> None:
    """The table can fail: THD re total, a ceiling off by 0.1 % and a lost factor of the mean square are all outside."""
    thd = physics.clipped_sine_thd(drive=DRIVE)
    for wrong in (thd / np.sqrt(1 + thd**2), physics.clipped_sine_thd(drive=DRIVE * 1.001)):
        assert np.max(np.abs(100 * wrong - TABLE[:, 1])) > 100 * HALF_DIGIT
    angle = np.arcsin(1 / DRIVE)
    square = 2 / np.pi * (DRIVE**2 * (angle / 2 - np.sin(2 * angle) / 2) + np.pi / 2 - angle)
    assert np.max(np.abs(10 * np.log10(2 * np.abs(square)) - TABLE[:, 6])) > 100 * HALF_DIGIT
