"""Bare formulas on floats and arrays, each with its equation, source and range of validity.

Nothing here depends on the model. Arguments are keyword-only, in SI units or decibels as the name says, and broadcast; a batch
of cases is the leading axis. docs/model.md lists every formula.
"""

from gainwright.physics.acoustics import cabin_pressure_ratio, sound_level_of_power_db, speaker_spl, speed_of_sound
from gainwright.physics.clipping import (
    clipped_sine_fundamental,
    clipped_sine_harmonic,
    clipped_sine_mean_abs,
    clipped_sine_rms,
    clipped_sine_thd,
    drive_for_thd,
)
from gainwright.physics.coil_heat import (
    CoilHeat,
    coil_rise,
    compression_db,
    hottest_rise,
    seconds_to_rise,
    share_on,
    steady_rise,
    stretch_rise,
)
from gainwright.physics.drivers import (
    Driver,
    Enclosure,
    coil_impedance,
    cone_travel,
    driver_from_parameters,
    driver_impedance,
    mechanical_impedance,
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
    prototype_poles,
)
from gainwright.physics.fuses import PVC_FINAL_C, blade_fuse_opens_s, short_circuit_factor, withstands_s
from gainwright.physics.hearing import (
    EU_LIMIT_DBA,
    EU_LOWER_ACTION_DBA,
    EU_UPPER_ACTION_DBA,
    a_weighted_level_dba,
    daily_dose,
    daily_exposure_level_dba,
    niosh_permissible_time_s,
    osha_permissible_time_s,
)
from gainwright.physics.levels import (
    db_from_ratio,
    dbfs_from_rms,
    ratio_from_db,
    voltage_for_power,
)
from gainwright.physics.loading import (
    divider,
    parallel,
    series_for_loss,
)
from gainwright.physics.meters import average_responding_reading, reading_half_width
from gainwright.physics.noise import (
    a_weighting_db,
    dither_noise,
    sum_of_powers_db,
)
from gainwright.physics.preferred_values import preferred_mantissas, preferred_values
from gainwright.physics.supply import loaded_ceiling, rail_scaling, rated_clip_voltage
from gainwright.physics.supply_current import (
    GAUSSIAN_MEAN_ABS,
    SINE_MEAN_ABS,
    class_b_power,
    class_d_power,
    regulated_voltage,
    unregulated_voltage,
)
from gainwright.physics.wire import (
    COPPER_RESISTIVITY_OHM_M,
    awg_area_m2,
    awg_diameter_m,
    boat_ampacity_a,
    copper_temperature_factor,
    wire_resistance,
)

__all__ = [
    "COPPER_RESISTIVITY_OHM_M",
    "EU_LIMIT_DBA",
    "EU_LOWER_ACTION_DBA",
    "EU_UPPER_ACTION_DBA",
    "GAUSSIAN_MEAN_ABS",
    "PVC_FINAL_C",
    "SINE_MEAN_ABS",
    "SLOPES_DB_PER_OCTAVE",
    "CoilHeat",
    "Driver",
    "Enclosure",
    "a_weighted_level_dba",
    "a_weighting_db",
    "average_responding_reading",
    "awg_area_m2",
    "awg_diameter_m",
    "bessel_response",
    "blade_fuse_opens_s",
    "boat_ampacity_a",
    "butterworth_response",
    "cabin_pressure_ratio",
    "class_b_power",
    "class_d_power",
    "clipped_sine_fundamental",
    "clipped_sine_harmonic",
    "clipped_sine_mean_abs",
    "clipped_sine_rms",
    "clipped_sine_thd",
    "coil_impedance",
    "coil_rise",
    "compression_db",
    "cone_travel",
    "copper_temperature_factor",
    "corner_for_loss",
    "daily_dose",
    "daily_exposure_level_dba",
    "db_from_ratio",
    "dbfs_from_rms",
    "dither_noise",
    "divider",
    "drive_for_thd",
    "driver_from_parameters",
    "driver_impedance",
    "filter_response",
    "high_shelf_response",
    "hottest_rise",
    "linkwitz_riley_response",
    "loaded_ceiling",
    "low_shelf_response",
    "mechanical_impedance",
    "niosh_permissible_time_s",
    "osha_permissible_time_s",
    "parallel",
    "peak_response",
    "preferred_mantissas",
    "preferred_values",
    "prototype_poles",
    "rail_scaling",
    "rated_clip_voltage",
    "ratio_from_db",
    "reading_half_width",
    "regulated_voltage",
    "seconds_to_rise",
    "series_for_loss",
    "share_on",
    "short_circuit_factor",
    "sound_level_of_power_db",
    "speaker_spl",
    "speed_of_sound",
    "steady_rise",
    "stretch_rise",
    "sum_of_powers_db",
    "unregulated_voltage",
    "voltage_for_power",
    "wire_resistance",
    "withstands_s",
]
