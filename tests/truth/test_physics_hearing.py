"""Permissible times and doses against the tables of NIOSH, OSHA and the Government of Canada."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright import physics

HOUR, MINUTE = 3600, 60


@pytest.mark.parametrize(
    ("level_dba", "seconds", "unit_s"),
    [
        (82, 16 * HOUR, 1),
        (85, 8 * HOUR, 1),
        (86, 6 * HOUR + 20 * MINUTE + 59, 1),
        (88, 4 * HOUR, 1),
        (90, 2 * HOUR + 31 * MINUTE, MINUTE),
        (91, 2 * HOUR, 1),
        (94, 1 * HOUR, 1),
        (95, 47 * MINUTE + 37, 1),
        (97, 30 * MINUTE, 1),
        (100, 15 * MINUTE, 1),
        (103, 7 * MINUTE + 30, 1),
        (105, 4 * MINUTE + 43, 1.01),
        (106, 3 * MINUTE + 45, 1),
        (110, MINUTE + 29, 1),
        (115, 28, 1),
    ],
)
def test_niosh_times(level_dba: float, seconds: float, unit_s: float) -> None:
    """NIOSH 98-126, table of 85 dBA, 8 h, 3 dB: within the last unit that is printed (it rounds both ways)."""
    assert abs(float(physics.niosh_permissible_time_s(level_dba=level_dba)) - seconds) <= unit_s


@pytest.mark.parametrize(
    ("level_dba", "hours", "half_digit"),
    [
        (80, 32, 1e-9),
        (85, 16, 1e-9),
        (90, 8, 1e-9),
        (92, 6.1, 0.05),
        (95, 4, 1e-9),
        (100, 2, 1e-9),
        (105, 1, 1e-9),
        (110, 0.5, 1e-9),
        (115, 0.25, 1e-9),
        (120, 0.125, 1e-9),
        (130, 0.031, 0.0005),
    ],
)
def test_osha_times(level_dba: float, hours: float, half_digit: float) -> None:
    """29 CFR 1910.95, Table G-16a, half of the last printed digit."""
    found = float(physics.osha_permissible_time_s(level_dba=level_dba)) / HOUR
    assert found == pytest.approx(hours, abs=half_digit)


def test_a_day_by_both_rules() -> None:
    """4 h at 90, 2 h at 95 and 2 h at 85 dBA: OSHA 112.5 % (worked example), NIOSH 435.72 %."""
    level_dba, duration_s = np.array([90.0, 95.0, 85.0]), np.array([4.0, 2.0, 2.0]) * HOUR
    osha = physics.daily_dose(duration_s=duration_s, permissible_s=physics.osha_permissible_time_s(level_dba=level_dba))
    niosh = physics.daily_dose(
        duration_s=duration_s, permissible_s=physics.niosh_permissible_time_s(level_dba=level_dba)
    )
    assert float(osha) == pytest.approx(1.125, abs=1e-12)
    assert float(niosh) == pytest.approx(4.3572, abs=5.1e-5)


def test_wrong_exchange_rate_is_noticed() -> None:
    """The table can fail: with OSHA's 5 dB in place of NIOSH's 3 dB, 100 dBA would be allowed an hour, not 15 minutes."""
    other = 8 * HOUR / 2 ** ((100 - 85) / 5)
    assert abs(other - float(physics.niosh_permissible_time_s(level_dba=100))) > 2000


@pytest.mark.parametrize(
    ("nominal_hz", "weighting_db"),
    [
        (31.5, -39.4),
        (40, -34.6),
        (50, -30.2),
        (63, -26.2),
        (100, -19.1),
        (160, -13.4),
        (500, -3.2),
        (1000, 0),
        (4000, 1),
    ],
)
def test_a_tone_counts_as_weighting_a_says(nominal_hz: float, weighting_db: float) -> None:
    """IEC 61672-1 table 3, printed to 0.1 dB at exact frequencies, which differ from the nominal ones by up to 0.8 %: 0.2 dB at 31.5 Hz."""
    found = float(physics.a_weighted_level_dba(level_db=103.0, frequency_hz=nominal_hz))
    assert found == pytest.approx(103 + weighting_db, abs=0.05 + 0.15 * (nominal_hz < 400))


@pytest.mark.parametrize(
    ("level_dba", "hours", "half_digit"),
    [(88, 6.4, 0.05), (90, 4.0, 0.05), (94, 1.6, 0.05), (97, 0.80, 0.005), (100, 0.40, 0.005)],
)
def test_days_of_the_same_exposure_level(level_dba: float, hours: float, half_digit: float) -> None:
    """Each row of the National Joint Council's table is L_EX,8h = 87 dBA (also the limit of 2003/10/EC, article 3), to half of its last digit."""
    found = float(physics.daily_exposure_level_dba(level_dba=level_dba, duration_s=hours * HOUR))
    assert abs(found - 87) <= 10 * np.log10(1 + half_digit / hours) + 0.01
    assert physics.EU_LIMIT_DBA == 87


def test_exposures_of_a_day_add_as_energy() -> None:
    """2003/10/EC article 3: 80, 85 and 87 dB(A); 8 h at a level are that level; 4 h at 88 and 4 h of silence are 85 (10 lg 2 = 3.01)."""
    assert (physics.EU_LOWER_ACTION_DBA, physics.EU_UPPER_ACTION_DBA) == (80, 85)
    for level_dba in (80.0, 85.0, 87.0):
        found = physics.daily_exposure_level_dba(level_dba=[level_dba, level_dba], duration_s=[HOUR, 7 * HOUR])
        assert float(found) == pytest.approx(level_dba, abs=1e-9)
    assert float(physics.daily_exposure_level_dba(level_dba=88.0, duration_s=4 * HOUR)) == pytest.approx(85, abs=0.011)
    assert float(physics.daily_exposure_level_dba(level_dba=[], duration_s=[])) == -np.inf
