"""Permissible listening times: a recommendation and two laws for workplaces.

Vehicle sound systems easily exceed these levels. The figures are for A-weighted levels at the ear, averaged as each rule
requires; a computed level is an estimate, not a permission. When in doubt, quieter and shorter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.physics.noise import a_weighting_db, c_weighting_db

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

HOUR_S = 3600.0
NIOSH_CRITERION_DBA = 85.0
OSHA_CRITERION_DBA = 90.0


EU_LOWER_ACTION_DBA, EU_UPPER_ACTION_DBA, EU_LIMIT_DBA = 80.0, 85.0, 87.0
"""Daily exposure levels of directive 2003/10/EC, article 3: lower and upper action value, and the limit, which counts at the ear under its protection."""

EU_LOWER_ACTION_PEAK_DBC, EU_UPPER_ACTION_PEAK_DBC, EU_LIMIT_PEAK_DBC = 135.0, 137.0, 140.0
"""Peak pressures of the same article: 112, 140 and 200 Pa, C-weighted, re 20 uPa."""
SINE_PEAK_DB = 10 * np.log10(2)


def tone_peak_dbc(*, level_db: Any, frequency_hz: Any) -> Floats:
    """Return the C-weighted peak level of a sine, dB(C): its level plus the weighting and 3.01 dB.

    IEC 61672-1:2013, `c_weighting_db` with its validity; a sine's peak is sqrt(2) of its rms.
    """
    weighted = np.asarray(level_db, dtype=np.float64) + c_weighting_db(frequency_hz=frequency_hz)
    return np.asarray(weighted + SINE_PEAK_DB)


def a_weighted_level_dba(*, level_db: Any, frequency_hz: Any) -> Floats:
    """Return the A-weighted level of a tone, dB(A): its level plus the weighting at its frequency.

    IEC 61672-1:2013, `a_weighting_db` with its validity. What all rules limit: 103 dB at 40 Hz are 68.4 dB(A).
    """
    return np.asarray(np.asarray(level_db, dtype=np.float64) + a_weighting_db(frequency_hz=frequency_hz))


def daily_exposure_level_dba(*, level_dba: Any, duration_s: Any) -> Floats:
    """Return the noise exposure level of a day normalized to 8 h, L_EX,8h, dB(A): 10 lg(sum(t 10^(L/10))/8 h), along the last axis.

    ISO 1999:2013, ISO 9612:2009 (clauses from memory), as directive 2003/10/EC, article 2, uses it. Valid for steady levels that
    together make up the day; -inf without any.
    """
    energy = np.asarray(duration_s, dtype=np.float64) * 10 ** (np.asarray(level_dba, dtype=np.float64) / 10)
    with np.errstate(divide="ignore"):
        return np.asarray(10 * np.log10(np.sum(np.atleast_1d(energy), axis=-1) / (8 * HOUR_S)))


def niosh_permissible_time_s(*, level_dba: Any) -> Floats:
    """Return the longest time per day that NIOSH recommends, seconds: 8 h/2^((L - 85)/3).

    NIOSH 98-126 (1998), recommended exposure limit: 85 dBA for 8 h, 3 dB exchange rate. Valid from 80 to 140 dBA; no
    exposure is recommended above.
    """
    level = np.asarray(level_dba, dtype=np.float64)
    return np.asarray(8 * HOUR_S / 2 ** ((level - NIOSH_CRITERION_DBA) / 3))


def osha_permissible_time_s(*, level_dba: Any) -> Floats:
    """Return the reference duration of OSHA, seconds: 8 h/2^((L - 90)/5).

    29 CFR 1910.95, Table G-16a: 90 dBA for 8 h, 5 dB exchange rate. Valid from 80 to 130 dBA slow for computing a dose; the
    rule permits nothing above 115 dBA. A law for workplaces, less protective than the NIOSH recommendation.
    """
    level = np.asarray(level_dba, dtype=np.float64)
    return np.asarray(8 * HOUR_S / 2 ** ((level - OSHA_CRITERION_DBA) / 5))


def daily_dose(*, duration_s: Any, permissible_s: Any) -> Floats:
    """Return the dose of a day as a ratio, summed along the last axis: sum(C/T).

    29 CFR 1910.95, Appendix A, and NIOSH 98-126, each with its own T. 1 is the limit. Valid for times at
    steady levels that together make up the day.
    """
    spent = np.asarray(duration_s, dtype=np.float64) / np.asarray(permissible_s, dtype=np.float64)
    return np.asarray(np.sum(np.atleast_1d(spent), axis=-1))
