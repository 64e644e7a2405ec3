"""Supply current, the voltage at the end of a cable, and short circuits, against worked examples, printed factors and ngspice."""

from __future__ import annotations

import math
import subprocess
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy import integrate, stats

from gainwright import physics

if TYPE_CHECKING:
    from pathlib import Path


def test_worked_amplifier() -> None:
    """500 W into 2 ohm, class B, converter 85 %, 13.8 V: 15.2 A for 50 W of Gaussian programme, 54.3 A for a full sine."""
    rail = np.sqrt(2 * 500 * 2)
    for mean_abs, amps in (
        (physics.GAUSSIAN_MEAN_ABS * np.sqrt(50 * 2), 15.2),
        (physics.SINE_MEAN_ABS * np.sqrt(500 * 2), 54.3),
    ):
        taken = physics.class_b_power(mean_abs_v=mean_abs, rail_v=rail, load_ohm=2.0)
        assert taken / 0.85 / 13.8 == pytest.approx(amps, abs=0.05)


def test_mean_of_the_rectified_programme() -> None:
    """E|v| by integration of the normal density (scipy), and over a sine's half period; pi/4 of a full sine's power."""
    gauss, _ = integrate.quad(lambda x: abs(x) * stats.norm.pdf(x), -12, 12)
    sine, _ = integrate.quad(lambda t: np.sqrt(2) * np.sin(t) / np.pi, 0, np.pi)
    assert gauss == pytest.approx(physics.GAUSSIAN_MEAN_ABS, rel=1e-7)
    assert sine == pytest.approx(physics.SINE_MEAN_ABS, rel=1e-9)
    # handbooks: a class B stage at full sine turns pi/4 = 78.5 % of its supply power into output
    rail, load = 40.0, 4.0
    taken = physics.class_b_power(mean_abs_v=physics.SINE_MEAN_ABS * rail / np.sqrt(2), rail_v=rail, load_ohm=load)
    assert rail**2 / 2 / load / taken == pytest.approx(np.pi / 4)


def test_regulated_load_on_a_cable(tmp_path: Path) -> None:
    """Worked: 14.4 V, 14.1 milliohm, 1250 W -> 13.05 V, 95.8 A; ngspice's operating point with a source that takes P/V."""
    volts = float(physics.regulated_voltage(source_v=14.4, resistance_ohm=14.1e-3, power_w=1250.0))
    assert volts == pytest.approx(13.05, abs=0.005)
    assert 1250 / volts == pytest.approx(95.8, abs=0.05)
    netlist = tmp_path / "cable.cir"
    netlist.write_text(
        "cable\nV1 a 0 14.4\nR1 a b 14.1m\nB1 b 0 I=1250/v(b)\n.nodeset v(b)=14\n.control\nop\nprint v(b)\n.endc\n.end\n",
        encoding="ascii",
    )
    said = subprocess.run(("ngspice", "-b", str(netlist)), capture_output=True, text=True, check=False).stdout
    circuit = float(next(line for line in said.splitlines() if line.startswith("v(b)")).split("=")[1])
    assert volts == pytest.approx(circuit, rel=1e-6)


def test_largest_power_that_gets_through() -> None:
    """At E^2/(4 R) half the voltage is left (maximum power transfer); beyond it there is no voltage at all."""
    most = 14.0**2 / (4 * 0.02)
    assert physics.regulated_voltage(source_v=14.0, resistance_ohm=0.02, power_w=most) == pytest.approx(7.0)
    assert np.isnan(physics.regulated_voltage(source_v=14.0, resistance_ohm=0.02, power_w=1.001 * most))


def test_unregulated_load_is_a_divider() -> None:
    """1000 W at 14.4 V is 0.20736 ohm; behind 14 milliohm of 14.4 V it has 14.4 x 0.20736/0.22136 V."""
    volts = physics.unregulated_voltage(source_v=14.4, resistance_ohm=0.014, power_w=1000.0, rated_v=14.4)
    assert volts == pytest.approx(14.4 * 0.20736 / 0.22136, rel=1e-9)


def test_short_circuit_factors_as_printed() -> None:
    """IEC 60364-5-54: 115 from 70 to 160 degrees C, 143 from 90 to 250 degrees C and from 30 to 160, 176 from 30 to 250."""
    for initial, final, printed in ((70, 160, 115), (90, 250, 143), (30, 160, 143), (30, 250, 176)):
        found = physics.short_circuit_factor(initial_c=initial, final_c=final)
        assert round(float(found)) == printed


def test_withstand_time_against_the_heat_in_the_copper() -> None:
    """I^2 R(t) heats the conductor until it is at 160 degrees C: integrated with copper's own figures, within 1 %.

    Volumetric heat capacity 3.45e-3 J/(K mm3), resistivity 17.241e-6 ohm mm at 20 degrees C (IEC 60949).
    """
    area_mm2, current = 21.15, 2000.0
    temperatures = np.linspace(70.0, 160.0, 10_001)
    rho = 17.241e-6 * (234.5 + temperatures) / 254.5
    per_kelvin = 3.45e-3 * area_mm2**2 / (rho * current**2)
    seconds = np.trapezoid(per_kelvin, temperatures)
    found = physics.withstands_s(area_m2=area_mm2 * 1e-6, current_a=current, initial_c=70, final_c=160)
    assert found == pytest.approx(seconds, rel=0.01)


@pytest.mark.parametrize(
    ("rating_a", "percent", "least", "longest"),
    [
        # blade fuses of 10 A, and large ones of 60 A, as their data sheets print them for these shares of the rating
        (10, 135, 0.75, 600), (10, 160, 0.25, 50), (10, 200, 0.15, 5), (10, 350, 0.08, 0.5), (10, 600, 0, 0.15),
        (60, 135, 60, 1800), (60, 200, 2, 50), (60, 350, 0.2, 7), (60, 600, 0.04, 1),
        # from 20 to 40 A there are both: the wider limits
        (30, 200, 0.15, 50), (40, 135, 0.75, 1800),
        (10, 105, math.inf, math.inf), (10, 120, 0.75, math.inf),
    ],
)  # fmt: skip
def test_blade_fuses_as_printed(rating_a: float, percent: float, least: float, longest: float) -> None:
    """ISO 8820-3 as makers' data sheets print it, read where three public documents quote them."""
    found = physics.blade_fuse_opens_s(rating_a=rating_a, current_a=rating_a * percent / 100)
    assert found == pytest.approx((least, longest))


def test_a_blade_fuse_opens_no_later_at_more_current() -> None:
    """Between the printed currents both limits fall as the current grows; beyond, I^2 t stays; nothing is said where no source says it."""
    for rating in (7.5, 30.0, 80.0):
        times = [physics.blade_fuse_opens_s(rating_a=rating, current_a=a) for a in np.geomspace(1.4 * rating, 999, 80)]
        lows, highs = np.array([t for t in times if t is not None]).T
        assert len(lows) == 80
        assert np.all(lows <= highs)
        assert np.all(np.diff(lows) <= 0)
        assert np.all(np.diff(highs) <= 0)
    at_600 = physics.blade_fuse_opens_s(rating_a=15, current_a=90)
    beyond = physics.blade_fuse_opens_s(rating_a=15, current_a=450)
    assert at_600 is not None
    assert beyond is not None
    assert beyond[1] * 450**2 == pytest.approx(at_600[1] * 90**2)
    assert physics.blade_fuse_opens_s(rating_a=100, current_a=300) is None
    assert physics.blade_fuse_opens_s(rating_a=80, current_a=1100) is None
