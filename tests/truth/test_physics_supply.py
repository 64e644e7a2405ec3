"""An amplifier's ceilings and its supply, and copper, against standards, tables and circuits."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.special

from gainwright import physics

# ASTM B258 diameters and areas; resistance with 1/58 ohm mm2/m (IEC 60028): gauge, mm, mm2, mohm/m
GAUGES = [
    (18, 1.0237, 0.8230, 20.948),
    (16, 1.2908, 1.3087, 13.174),
    (14, 1.6277, 2.0808, 8.2857),
    (12, 2.0525, 3.3088, 5.2108),
    (10, 2.5882, 5.2612, 3.2772),
    (8, 3.2636, 8.3656, 2.0610),
    (4, 5.1894, 21.1506, 0.81518),
    (2, 6.5437, 33.6308, 0.51267),
    (0, 8.2515, 53.4751, 0.32242),
    (-1, 9.2658, 67.4309, 0.25569),
    (-3, 11.684, 107.2193, 0.16081),
]
CLASS_5 = {
    0.5: 39.0,
    0.75: 26.0,
    1: 19.5,
    1.5: 13.3,
    2.5: 7.98,
    4: 4.95,
    6: 3.30,
    10: 1.91,
    16: 1.21,
    25: 0.780,
    35: 0.554,
    50: 0.386,
    70: 0.272,
    95: 0.206,
}


def test_clean_voltage_of_a_rating() -> None:
    """CTA-2006 rates at 1 % THD+N: a sine clipped 0.251261 dB deep, whose rms is 0.2016 dB over the clean one.

    0.2016 = 1.0984 - 0.8968, the power of a sine clipped to 10 % THD over the onset and over that at 1 %.
    """
    clean_v = physics.rated_clip_voltage(power_w=np.array([50.0, 100.0]), load_ohm=4.0)
    np.testing.assert_allclose(20 * np.log10(np.array([14.1421356, 20.0]) / clean_v), 0.2016, atol=5.1e-5)
    # second road: a sine of that peak, driven 0.251261 dB into its ceiling and summed, gives the rated power
    t = (np.arange(20000) + 0.5) * 2 * np.pi / 20000
    peak_v = float(clean_v[1]) * np.sqrt(2)
    wave = np.clip(10 ** (0.251261 / 20) * peak_v * np.sin(t), -peak_v, peak_v)
    assert np.mean(wave**2) / 4 == pytest.approx(100.0, rel=1e-6)


CONVERTER = """converter
Va a 0 PULSE({low} {high} 0 10n 10n 9.98u 20u)
Ra a in 1m
Lp in 0 1m
L1 up 0 6.25m
L2 0 down 6.25m
K1 Lp L1 1
K2 Lp L2 1
K3 L1 L2 1
D1 up rail d
D2 down rail d
C1 rail 0 2u IC=0
R1 rail 0 1k
.model d D(n=0.01)
.options reltol=1e-4
.control
set wr_singlescale
tran 50n 1m 0.8m 50n uic
meas tran rail avg v(rail) from=0.9m to=1m
quit
.endc
.end
"""
"""A full-wave converter: a transformer of 1 to 2.5, chopped at 50 kHz, two nearly ideal rectifiers, a reservoir."""


def ngspice(netlist: str, name: str, folder: Path) -> float:
    """Return what ngspice measured under a name."""
    path = folder / "net.cir"
    path.write_text(netlist)
    said = subprocess.run(("ngspice", "-b", str(path)), capture_output=True, text=True, check=False).stdout
    found = re.search(rf"^{name}\s*=\s*(\S+)", said, flags=re.MULTILINE)
    assert found, said
    return float(found[1])


def test_unregulated_supply(tmp_path: Path) -> None:
    """A converter without regulation as ngspice solves it gives rails in proportion to the supply, here at 10.5 to 16 V."""
    rails = {
        volts: ngspice(CONVERTER.format(low=-volts, high=volts), "rail", tmp_path) for volts in (10.5, 12.6, 14.4, 16.0)
    }
    assert rails[14.4] == pytest.approx(2.5 * 14.4, rel=0.01)  # it works at all
    for supply_v, rail_v in rails.items():
        scale = float(physics.rail_scaling(supply_v=supply_v, rated_at_v=14.4, regulated=False))
        assert scale == pytest.approx(rail_v / rails[14.4], rel=2e-3)
    # with regulation the rails stay: by definition, within the amplifier's range
    assert float(physics.rail_scaling(supply_v=12.6, rated_at_v=14.4, regulated=True)) == 1.0


LOADED = """loaded
E1 inner 0 VALUE={{max(min({emf}*sqrt(2)*1.2*sin(6283.185307*time),{emf}*sqrt(2)),-{emf}*sqrt(2))}}
R1 inner out {internal}
R2 out 0 {load}
.control
tran 1u 2m 1m 1u
meas tran top max v(out)
quit
.endc
.end
"""
"""A sine cut at an amplifier's rails, behind its internal resistance, on a load."""


def test_ceiling_between_ratings_is_that_of_an_internal_resistance(tmp_path: Path) -> None:
    """An amplifier of 36.975 V rms rails and 0.35 ohm as ngspice solves it, rated at 2 and 4 ohm: within 0.25 % between them.

    Above the highest rated load its ceiling is taken to stay, below the lowest its current (Ohm's law: half the load,
    half the volts). Common practice, no published source.
    """
    tops = {
        load: ngspice(LOADED.format(emf=36.975, internal=0.35, load=load), "top", tmp_path) / np.sqrt(2)
        for load in (2.0, 2.4, 2.8, 3.2, 3.6, 4.0)
    }
    assert tops[4.0] == pytest.approx(34.0, rel=1e-3)
    common: dict[str, Any] = {"ratings_load_ohm": [4.0, 2.0], "ratings_v": [tops[4.0], tops[2.0]]}
    for load, top in tops.items():
        exact = load in (2.0, 4.0)
        found = float(physics.loaded_ceiling(**common, load_ohm=load))
        assert found == pytest.approx(top, rel=1e-12 if exact else 2.5e-3)
    outside = physics.loaded_ceiling(**common, load_ohm=np.array([8.0, np.inf, 1.0, 0.5]))
    np.testing.assert_allclose(outside, [tops[4.0], tops[4.0], tops[2.0] / 2, tops[2.0] / 4], rtol=1e-12)


def test_current_of_a_switching_amplifier() -> None:
    """500 W into 2 ohm at 75 % from 13.8 V draw 48.309 A (conservation of energy)."""
    watts = physics.class_d_power(mean_square_v2=500 * 2.0, load_ohm=2.0, efficiency=0.75)
    assert float(watts) / 13.8 == pytest.approx(48.309, abs=5e-4)


@pytest.mark.parametrize(("gauge", "millimetres", "square_mm", "milliohm_per_m"), GAUGES)
def test_gauges(gauge: int, millimetres: float, square_mm: float, milliohm_per_m: float) -> None:
    """ASTM B258 and IEC 60028, to the printed digits of the diameter; area and resistance 1e-4 relative."""
    assert 1e3 * float(physics.awg_diameter_m(gauge=gauge)) == pytest.approx(millimetres, rel=3e-5, abs=5.1e-5)
    area_m2 = physics.awg_area_m2(gauge=gauge)
    assert 1e6 * float(area_m2) == pytest.approx(square_mm, rel=1e-4)
    ohm = physics.wire_resistance(length_m=1.0, area_m2=area_m2, temperature_c=20.0)
    assert 1e3 * float(ohm) == pytest.approx(milliohm_per_m, rel=1e-4)


@pytest.mark.parametrize(
    ("gauge", "ohm_per_1000_ft"), [(12, 1.588), (14, 2.525), (16, 4.016), (18, 6.385), (20, 10.15)]
)
def test_gauges_of_a_published_table(gauge: int, ohm_per_1000_ft: float) -> None:
    """A published table of ohm per 1000 ft of solid copper at 20 degrees C; it rounds its areas, hence 6e-4."""
    area_m2 = physics.awg_area_m2(gauge=gauge)
    found = physics.wire_resistance(length_m=304.8, area_m2=area_m2, temperature_c=20.0)
    assert float(found) == pytest.approx(ohm_per_1000_ft, rel=6e-4)


@pytest.mark.parametrize(("area_mm2", "ohm_per_km"), CLASS_5.items())
def test_class_5_conductors(area_mm2: float, ohm_per_km: float) -> None:
    """IEC 60228 class 5 plain copper (four agreeing copies) has 1.10 to 1.16 times the resistance of solid copper."""
    solid = float(physics.wire_resistance(length_m=1000, area_m2=area_mm2 * 1e-6, temperature_c=20))
    assert 1.10 <= ohm_per_km / solid <= 1.16


def test_voltage_dropped_by_a_feed() -> None:
    """16 mm2 class 5, 5 m there and back, 100 A: 1.210 V at 20 degrees C, 1.4478 V at 70; 10 AWG, 6 m, 30 A: 0.5899 V."""
    drop_v = CLASS_5[16] * 10 / 1000 * 100
    factor = float(physics.copper_temperature_factor(temperature_c=70))
    assert drop_v == pytest.approx(1.210, abs=1e-9)
    assert drop_v * factor == pytest.approx(1.4478, abs=5e-5)
    area_m2 = physics.awg_area_m2(gauge=10)
    assert 30 * float(physics.wire_resistance(length_m=6, area_m2=area_m2, temperature_c=20)) == pytest.approx(
        0.5899, abs=5e-5
    )


@pytest.mark.parametrize(
    ("gauge", "ohm_per_1000_ft", "half_digit"),
    [(18, 7.77, 5e-3), (16, 4.89, 5e-3), (14, 3.07, 5e-3), (12, 1.93, 5e-3), (10, 1.21, 5e-3), (8, 0.764, 5e-4)],
)
def test_resistance_of_warm_copper(gauge: int, ohm_per_1000_ft: float, half_digit: float) -> None:
    """Solid copper wire at 75 degrees C, as NFPA 70 (the National Electrical Code) prints it in chapter 9, table 8.

    Half of the last digit; it rounds its circular mils too (1620 for the exact 1624 of 18 AWG), hence 0.25 % more.
    """
    ohm = physics.wire_resistance(length_m=304.8, area_m2=physics.awg_area_m2(gauge=gauge), temperature_c=75.0)
    assert abs(float(ohm) - ohm_per_1000_ft) <= half_digit + 0.0025 * ohm_per_1000_ft


def test_copper_at_its_limits() -> None:
    """At 200 degrees C 72 % more, 4.7 dB (an encyclopaedia, of voice coils); IEC 60228 prints 0.820 for 75 to 20.

    The standard rounds to 250/(230 + t); 0.00393 meets it within 0.4 %.
    """
    hot, warm = physics.copper_temperature_factor(temperature_c=np.array([200.0, 75.0]))
    assert hot == pytest.approx(1.72, rel=0.01)
    assert 20 * np.log10(hot) == pytest.approx(4.7, abs=0.06)
    assert 1 / warm == pytest.approx(0.820, rel=4e-3)
    assert float(physics.copper_temperature_factor(temperature_c=20.0)) == 1.0


def test_skin_effect_is_as_small_as_documented() -> None:
    """A round wire's exact resistance to alternating current (Bessel functions) over the one for direct current.

    Impedance of a metre: k rho/(2 pi a) J0(ka)/J1(ka), k = (1 - j)/depth. 3 to 5 % more at 20 kHz, 1 mm2, and at 8 kHz,
    2.5 mm2, as the documentation of `wire_resistance` has it.
    """
    rho_ohm_m = 1 / 58e6  # IEC 60028
    for frequency_hz, area_mm2 in ((20e3, 1.0), (8e3, 2.5)):
        radius_m = np.sqrt(area_mm2 * 1e-6 / np.pi)
        depth_m = np.sqrt(2 * rho_ohm_m / (2 * np.pi * frequency_hz * 4e-7 * np.pi))
        k = (1 - 1j) / depth_m
        bessel = scipy.special.jv(0, k * radius_m) / scipy.special.jv(1, k * radius_m)
        alternating_ohm = (k * rho_ohm_m / (2 * np.pi * radius_m) * bessel).real
        direct_ohm = float(physics.wire_resistance(length_m=1.0, area_m2=area_mm2 * 1e-6, temperature_c=20.0))
        assert 1.03 < alternating_ohm / direct_ohm < 1.05


@pytest.mark.parametrize(
    ("insulation_c", "printed"),
    [
        (60, [10, 15, 20, 25, 40, 55, 80, 105, 120, 140, 165, 195, 225, 260, 300]),
        (75, [10, 15, 20, 25, 40, 65, 95, 125, 145, 170, 195, 230, 265, 310, 360]),
        (80, [15, 20, 25, 35, 50, 70, 100, 130, 150, 175, 210, 245, 285, 330, 385]),
        (90, [20, 25, 30, 40, 55, 70, 100, 135, 155, 180, 210, 245, 285, 330, 385]),
        (105, [20, 25, 35, 45, 60, 80, 120, 160, 180, 210, 245, 285, 330, 385, 445]),
    ],
)
def test_ampacity_of_boat_wiring(insulation_c: int, printed: list[int]) -> None:
    """33 CFR 183.425, Table 5 (public law of the United States), 18 AWG to 4/0; a reference, not a rule for vehicles."""
    gauges = [18, 16, 14, 12, 10, 8, 6, 4, 3, 2, 1, 0, -1, -2, -3]
    common: dict[str, Any] = {"insulation_c": insulation_c, "engine_space": False}
    assert [physics.boat_ampacity_a(gauge=gauge, **common) for gauge in gauges] == printed


@pytest.mark.parametrize("temperature_c", [20.0, 50.0])
def test_the_worked_example_of_boat_wiring(temperature_c: float) -> None:
    """ABYC E-11 (from memory): 10 A over 21 ft there and back, 10 % of 12 V may be lost: 16 AWG. 18 AWG loses too much, cold and warm."""
    lost = {
        gauge: 10
        * float(
            physics.wire_resistance(
                length_m=21 * 0.3048, area_m2=physics.awg_area_m2(gauge=gauge), temperature_c=temperature_c
            )
        )
        for gauge in (18, 16, 14)
    }
    assert max(gauge for gauge, volts in lost.items() if volts <= 0.1 * 12) == 16
    assert physics.boat_ampacity_a(gauge=16, insulation_c=75, engine_space=False) >= 10


def test_ampacity_in_engine_spaces() -> None:
    """The table of ABYC E-11 for engine spaces, 105 degrees C (x 0.85, note 1 of the law's table), in whole amperes."""
    printed = {18: 17, 16: 21, 14: 30, 12: 38, 10: 51, 8: 68, 6: 102, 4: 136, 3: 153, 2: 178, 1: 208, 0: 242, -1: 280}
    for gauge, amperes in printed.items():
        found = physics.boat_ampacity_a(gauge=gauge, insulation_c=105, engine_space=True)
        assert abs(found - amperes) < 0.76  # it rounds most down, some to the nearest


def test_wrong_ceilings_and_copper_are_noticed() -> None:
    """The checks can fail: the rating taken as clean, linear in R, and a factor of 250/(230+t) are all outside."""
    clean_v = float(physics.rated_clip_voltage(power_w=100.0, load_ohm=4.0))
    assert abs(20 * np.log10(20.0 / clean_v)) > 1000 * 5.1e-5
    found = float(physics.loaded_ceiling(ratings_load_ohm=[2.0, 4.0], ratings_v=[31.6, 34.6], load_ohm=3.0))
    assert abs(found - (31.6 + 34.6) / 2) > 0.4
    assert abs((230 + 70) / 250 - float(physics.copper_temperature_factor(temperature_c=70))) > 1e-3
