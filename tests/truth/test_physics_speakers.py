"""Sound pressure and the speed of sound against handbook arithmetic and standards."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainwright import physics


def test_fifty_watts_two_metres_away() -> None:
    """88 dB (1 W, 1 m), 50 W, 2 m in the free field: 88 + 10 lg 50 - 20 lg 2 = 98.969 dB."""
    volts = physics.voltage_for_power(power_w=50, resistance_ohm=8)
    found = physics.speaker_spl(
        sensitivity_db=88, reference="1 W", voltage_v=volts, impedance_ohm=8, distance_m=np.array([2.0, 4.0])
    )
    assert found[0] == pytest.approx(98.969, abs=1e-3)
    assert found[1] - found[0] == pytest.approx(-6.0206, abs=5e-5)


def test_two_references_of_sensitivity() -> None:
    """91 dB for 2.83 V into 4 ohm is 87.985 dB for 1 W (2.0022 W; IEC 60268-5, clause from memory)."""
    one_watt_v = float(physics.voltage_for_power(power_w=1.0, resistance_ohm=4.0))
    by_volts = physics.speaker_spl(
        sensitivity_db=91, reference="2.83 V", voltage_v=one_watt_v, impedance_ohm=4, distance_m=1
    )
    assert float(by_volts) == pytest.approx(87.985, abs=5.1e-4)
    by_watts = physics.speaker_spl(
        sensitivity_db=87.985, reference="1 W", voltage_v=2.83, impedance_ohm=4, distance_m=1
    )
    assert float(by_watts) == pytest.approx(91, abs=5.1e-4)
    # the check can fail: a watt taken as 2.83 V into any speaker is 3 dB off here
    assert abs(float(by_watts) - 87.985) > 3


def test_speed_of_sound() -> None:
    """331.3 sqrt(1 + t/273.15) at five temperatures, 0.01 m/s; ISO 9613-1 gives 343.2 m/s at 20 degrees C (from memory)."""
    found = physics.speed_of_sound(temperature_c=np.array([-10.0, 0.0, 20.0, 25.0, 40.0]))
    np.testing.assert_allclose(found, [325.18, 331.30, 343.21, 346.13, 354.73], atol=0.0051)
    # second road: ideal gas, sqrt(gamma R T / M) with the handbook's dry air, 0.1 %
    ideal = np.sqrt(1.400 * 8.314463 * (np.array([-10.0, 0.0, 20.0, 25.0, 40.0]) + 273.15) / 0.0289647)
    np.testing.assert_allclose(found, ideal, rtol=1e-3)


def test_delay_and_wavelength() -> None:
    """1 m at 20 degrees C is 2.9137 ms or 139.86 samples at 48 kHz; 0.85 m 2.4766 ms; 80 Hz are 4.290 m long.

    The figures were worked out with 343.21 m/s, 1.4e-5 less than the formula: one unit of the last digit.
    """
    speed = float(physics.speed_of_sound(temperature_c=20))
    assert 1e3 / speed == pytest.approx(2.9137, abs=1e-4)
    assert 48e3 / speed == pytest.approx(139.86, abs=1e-2)
    assert 850 / speed == pytest.approx(2.4766, abs=1e-4)
    assert speed / 80 == pytest.approx(4.290, abs=5.1e-4)


def test_all_of_a_watt_as_sound() -> None:
    """Small 1972: a speaker of 1 % reference efficiency gives 92 dB at 1 m for 1 W into half space (figure from memory, to 0.2 dB)."""
    level = float(physics.sound_level_of_power_db(power_w=0.01, distance_m=1.0))
    assert level == pytest.approx(92.0, abs=0.2)
    further = float(physics.sound_level_of_power_db(power_w=0.01, distance_m=2.0))
    assert level - further == pytest.approx(20 * math.log10(2))


def test_a_closed_cabin_is_an_air_spring() -> None:
    """A cone that moves V litres compresses the air by gamma P0 V/V0 (adiabatic gas law); in the open it radiates as a monopole on a baffle.

    Another way than rho c^2: gamma 1.4, 101.325 kPa, 1.2041 kg/m^3, to 1 %; and the gain falls by 12 dB an octave.
    """
    moved_m3, volume_m3, distance_m = 1e-4, 3.0, 1.5
    for hz in (20.0, 40.0, 63.0):
        inside = 1.4 * 101_325 * moved_m3 / volume_m3
        outside = 1.2041 * (2 * math.pi * hz) ** 2 * moved_m3 / (2 * math.pi * distance_m)
        found = physics.cabin_pressure_ratio(frequency_hz=hz, distance_m=distance_m, volume_m3=volume_m3)
        assert float(found) == pytest.approx(inside / outside, rel=0.01)
    low, high = physics.cabin_pressure_ratio(frequency_hz=np.array([20.0, 40.0]), distance_m=1.0, volume_m3=3.0)
    assert 20 * math.log10(low / high) == pytest.approx(12.04, abs=0.01)
