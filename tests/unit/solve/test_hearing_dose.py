"""The dose of tones against worked days and tables, and what must hold of any day."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainwright.solve import EarLevel
from gainwright.solve.hearing_dose import DayHearing, Exposure, HearingDose, hearing_dose

HOUR = 3600.0


def heard(level_dba: float, seconds: float) -> Exposure:
    """Return a tone of a known level and time."""
    return Exposure(EarLevel(1000.0, level_dba, level_dba), seconds, seconds)


def test_a_worked_day() -> None:
    """NIOSH 98-126, its formula by hand: 4 h at 90, 2 h at 95, 2 h at 85 dBA are 435.72 %, 91.39 dBA in 8 h.

    L_EX,8h (ISO 1999, 10 lg of the energy over 8 h) by hand: 10 lg((4 10^9 + 2 10^9.5 + 2 10^8.5)/8) = 91.366.
    """
    dose = hearing_dose([heard(90, 4 * HOUR), heard(95, 2 * HOUR), heard(85, 2 * HOUR)])
    assert dose.niosh_percent_low == dose.niosh_percent_high == pytest.approx(435.72, abs=0.006)
    assert dose.exposure_dba_high == pytest.approx(91.366, abs=0.0006)
    assert (dose.tones, dose.seconds_high) == (3, 8 * HOUR)


@pytest.mark.parametrize(
    ("level_dba", "seconds"), [(85, 8 * HOUR), (88, 4 * HOUR), (94, HOUR), (97, HOUR / 2), (100, 900)]
)
def test_a_row_of_the_table_is_the_whole_day(level_dba: float, seconds: float) -> None:
    """NIOSH 98-126, table of 85 dBA for 8 h at 3 dB: each row is 100 %; of 2003/10/EC it is 85 dB(A) (3 dB are not quite half)."""
    dose = hearing_dose([heard(level_dba, seconds)])
    assert dose.niosh_percent_high == pytest.approx(100)
    assert dose.exposure_dba_high == pytest.approx(85, abs=0.06)


def test_quiet_tones_count_from_above_only() -> None:
    """NIOSH integrates from 80 dBA on; the bound counts all, and nothing is said of a level that nobody knows from below."""
    quiet = hearing_dose([heard(79, 8 * HOUR)])
    assert quiet.niosh_percent_low == 0
    assert quiet.niosh_percent_high > 20
    bound = hearing_dose([Exposure(EarLevel(50.0, None, 90.0, ("sub",)), 2, 5)])
    assert (bound.niosh_percent_low, bound.exposure_dba_low, bound.unknown) == (0, None, ("sub",))
    assert hearing_dose([]) == HearingDose()


TONES = st.lists(
    st.builds(
        lambda low, wider, least, longer: Exposure(EarLevel(50.0, low, low + wider), least, least + longer),
        st.floats(20, 130), st.floats(0, 60), st.floats(0.1, 3000), st.floats(0, 3000),
    ),
    min_size=1, max_size=6,
)  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(TONES, TONES)
def test_any_day(tones: list[Exposure], more: list[Exposure]) -> None:
    """From below never above from above; more tones are never less; a day is its parts in any order."""
    one, both = hearing_dose(tones), hearing_dose(tones + more)
    for dose in (one, both):
        assert dose.niosh_percent_low <= dose.niosh_percent_high
        assert dose.exposure_dba_low is not None
        assert dose.exposure_dba_high is not None
        assert dose.exposure_dba_low <= dose.exposure_dba_high + 1e-9
    assert (
        both.niosh_percent_high >= one.niosh_percent_high
    )  # a second at 30 dB is lost in the rounding of hours at 130
    rest = hearing_dose(more)
    assert rest.niosh_percent_high > 0
    assert both.niosh_percent_high == pytest.approx(one.niosh_percent_high + rest.niosh_percent_high)
    assert hearing_dose([*more, *tones]).exposure_dba_high == pytest.approx(both.exposure_dba_high)


def test_the_highest_peak_counts_and_is_told() -> None:
    """Of two tones the higher peak, in words from the first value of 2003/10/EC on that it may reach; none where no level has one."""
    from gainwright.report.hearing_dose import dose_rows, verdict

    quiet, loud = (Exposure(EarLevel(50.0, 80.0, 90.0, (), peak), 2, 5) for peak in (110.0, 136.2))
    dose = hearing_dose([quiet, loud])
    assert dose.peak_dbc_high == 136.2
    assert "may reach 137 dB(C)" in verdict(dose)  # as it is shown, rounded up
    assert ("Highest peak (2003/10/EC)", "at most 137 dB(C)", "at most 137 dB(C)") in dose_rows(
        DayHearing("", dose, dose)
    )
    assert "dB(C)" not in verdict(hearing_dose([quiet]))
    assert "at most" not in dose_rows(DayHearing("", HearingDose(), HearingDose()))[-1][1]


def test_the_peak_of_a_tone_with_its_harmonic() -> None:
    """114 dB at 1 kHz, A- and C-weighted 0 dB: 3.01 dB for the peak, and a tenth of it more at 3 kHz, which C lowers by 0.5 dB (IEC 61672-1)."""
    from gainwright.solve.ear_level import peak_with_harmonic_dbc

    together = 1 + 0.1 * 10 ** (-0.5 / 20)
    assert peak_with_harmonic_dbc(114.0, 1000.0) == pytest.approx(117.01 + 20 * math.log10(together), abs=0.01)
