"""Bare formulas on floats and arrays, each with its equation, its source and where it holds.

Nothing here knows the model. Arguments are keyword-only, in SI units or decibels as the name says, and broadcast; a batch
of cases is the leading axis. docs/model.md lists every formula.
"""

from gainwright.physics.acoustics import speaker_spl, speed_of_sound
from gainwright.physics.clipping import (
    clipped_sine_fundamental,
    clipped_sine_harmonic,
    clipped_sine_mean_abs,
    clipped_sine_rms,
    clipped_sine_thd,
    describing_function,
    drive_for_thd,
)
from gainwright.physics.filters import (
    SLOPES_DB_PER_OCTAVE,
    bessel_response,
    butterworth_response,
    corner_for_loss,
    filter_response,
    high_shelf_response,
    linkwitz_riley_response,
    low_shelf_response,
    peak_response,
)
from gainwright.physics.hearing import (
    daily_dose,
    niosh_permissible_time_s,
    niosh_time_weighted_average_dba,
    osha_permissible_time_s,
    osha_time_weighted_average_dba,
    weekly_dose,
    weekly_permissible_time_s,
)
from gainwright.physics.levels import (
    DBU_REFERENCE_V,
    DBV_REFERENCE_V,
    db_from_ratio,
    dbfs_from_rms,
    dbu_from_volts,
    dbv_from_volts,
    power_for_voltage,
    ratio_from_db,
    rms_from_dbfs,
    sine_peak_from_rms,
    voltage_for_power,
    volts_from_dbu,
    volts_from_dbv,
)
from gainwright.physics.loading import coil_resistance_parallel, coil_resistance_series, divider, parallel
from gainwright.physics.meters import average_responding_reading, reading_half_width, standard_uncertainty
from gainwright.physics.noise import a_weighting_db, c_weighting_db, sum_of_powers_db, thermal_noise_v
from gainwright.physics.preferred_values import preferred_mantissas, preferred_values
from gainwright.physics.supply import battery_current, loaded_ceiling, rail_scaling, rated_clip_voltage
from gainwright.physics.wire import (
    awg_area_m2,
    awg_diameter_m,
    boat_ampacity_a,
    class5_max_ohm_per_km,
    copper_temperature_factor,
    wire_resistance,
)

__all__ = [
    "DBU_REFERENCE_V",
    "DBV_REFERENCE_V",
    "SLOPES_DB_PER_OCTAVE",
    "a_weighting_db",
    "average_responding_reading",
    "awg_area_m2",
    "awg_diameter_m",
    "battery_current",
    "bessel_response",
    "boat_ampacity_a",
    "butterworth_response",
    "c_weighting_db",
    "class5_max_ohm_per_km",
    "clipped_sine_fundamental",
    "clipped_sine_harmonic",
    "clipped_sine_mean_abs",
    "clipped_sine_rms",
    "clipped_sine_thd",
    "coil_resistance_parallel",
    "coil_resistance_series",
    "copper_temperature_factor",
    "corner_for_loss",
    "daily_dose",
    "db_from_ratio",
    "dbfs_from_rms",
    "dbu_from_volts",
    "dbv_from_volts",
    "describing_function",
    "divider",
    "drive_for_thd",
    "filter_response",
    "high_shelf_response",
    "linkwitz_riley_response",
    "loaded_ceiling",
    "low_shelf_response",
    "niosh_permissible_time_s",
    "niosh_time_weighted_average_dba",
    "osha_permissible_time_s",
    "osha_time_weighted_average_dba",
    "parallel",
    "peak_response",
    "power_for_voltage",
    "preferred_mantissas",
    "preferred_values",
    "rail_scaling",
    "rated_clip_voltage",
    "ratio_from_db",
    "reading_half_width",
    "rms_from_dbfs",
    "sine_peak_from_rms",
    "speaker_spl",
    "speed_of_sound",
    "standard_uncertainty",
    "sum_of_powers_db",
    "thermal_noise_v",
    "voltage_for_power",
    "volts_from_dbu",
    "volts_from_dbv",
    "weekly_dose",
    "weekly_permissible_time_s",
    "wire_resistance",
]
