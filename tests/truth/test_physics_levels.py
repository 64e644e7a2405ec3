"""Levels and loading against their definitions and published figures.

Tolerances are half a unit of the last digit that is printed, unless said otherwise.
"""

from __future__ import annotations

import numpy as np
import pytest

from gainwright import physics
from gainwright.model import Coils
from gainwright.quantities import parse

RATED_V = {
    25: (7.0711, 10.0, 14.1421),
    50: (10.0, 14.1421, 20.0),
    75: (12.2474, 17.3205, 24.4949),
    100: (14.1421, 20.0, 28.2843),
    150: (17.3205, 24.4949, 34.6410),
    200: (20.0, 28.2843, 40.0),
    300: (24.4949, 34.6410, 48.9898),
    500: (31.6228, 44.7214, 63.2456),
    750: (38.7298, 54.7723, 77.4597),
    1000: (44.7214, 63.2456, 89.4427),
    1500: (54.7723, 77.4597, 109.5445),
}


def test_dbu_is_a_milliwatt_in_600_ohm() -> None:
    """0 dBu is sqrt(1 mW x 600 ohm) = 0.774597 V (IEC 60027-3, IEC 60268-2; clause from memory)."""
    volts = parse("0 dBu", "voltage").nominal
    assert volts == pytest.approx(0.774597, abs=5e-7)
    assert volts**2 / 600 == pytest.approx(1e-3, rel=1e-12)


@pytest.mark.parametrize(
    ("level_dbu", "volts"), [(2.2185, 1.0), (4, 1.2277), (6, 1.5455), (14, 3.8822), (24, 12.2765), (-7.7815, 0.316228)]
)
def test_line_levels_of_studio_and_vehicle(level_dbu: float, volts: float) -> None:
    """+4 dBu is 1.2277 V and -10 dBV is 0.316228 V, -7.7815 dBu (IEC 60268-2; a university audio manual prints both)."""
    assert parse(f"{level_dbu} dBu", "voltage").nominal == pytest.approx(volts, rel=6e-6, abs=5e-5)


def test_minus_ten_dbv() -> None:
    """0 dBV is 1 V, so -10 dBV is 10^-0.5 V (IEC 60027-3)."""
    assert parse("-10 dBV", "voltage").nominal == pytest.approx(0.316228, abs=5e-7)
    assert parse("0 dBV", "voltage").nominal == 1.0


def test_full_scale_sine_is_zero_and_full_scale_square_is_three_dbfs() -> None:
    """AES17-2015, 3: the rms of a full-scale sine is 0 dBFS, that of a full-scale square +3.0103 dBFS."""
    t = np.arange(4096) * 2 * np.pi * 997 / 4096
    sine, square = np.sin(t), np.where(np.sin(t + 0.1 / 4096) >= 0, 1.0, -1.0)
    levels = physics.dbfs_from_rms(rms=np.sqrt([np.mean(sine**2), np.mean(square**2)]))
    np.testing.assert_allclose(levels, [0.0, 3.0103], atol=5e-5)


def test_other_dbfs_convention_is_noticed() -> None:
    """The check can fail: rms re peak, the other convention in use, is 3.0103 dB away (BS.1770 and most code)."""
    assert abs(20 * np.log10(np.sqrt(0.5)) - float(physics.dbfs_from_rms(rms=np.sqrt(0.5)))) > 3


@pytest.mark.parametrize(("power_w", "volts"), RATED_V.items())
def test_voltage_of_rated_power(power_w: float, volts: tuple[float, float, float]) -> None:
    """V = sqrt(P R) into 2, 4 and 8 ohm (Joule's law; CTA-2006 takes power as V^2/R), printed to 0.1 mV."""
    loads = np.array([2.0, 4.0, 8.0])
    found = physics.voltage_for_power(power_w=power_w, resistance_ohm=loads)
    np.testing.assert_allclose(found, volts, atol=5.1e-5)


def test_a_watt_on_a_data_sheet() -> None:
    """2.0022 W into 4 ohm is 2.83 V; 2 V in and 50 W into 4 ohm out are 16.9897 dB of gain (arithmetic)."""
    assert float(physics.voltage_for_power(power_w=2.0022, resistance_ohm=4)) == pytest.approx(2.83, abs=5e-5)
    out_v = physics.voltage_for_power(power_w=50, resistance_ohm=4)
    assert float(physics.db_from_ratio(ratio=out_v / 2)) == pytest.approx(16.9897, abs=5e-5)
    assert float(physics.ratio_from_db(db=16.9897)) == pytest.approx(float(out_v) / 2, rel=6e-6)


@pytest.mark.parametrize(
    ("source_ohm", "load_ohm", "loss_db", "last_digit"),
    [(600, 10e3, 0.5061, 5e-5), (600, 600, 6.0206, 5e-5), (1e3, 10e6, 20 * np.log10(1.0001), 1e-12)],
)
def test_loading(source_ohm: float, load_ohm: float, loss_db: float, last_digit: float) -> None:
    """600 ohm into 10 kohm loses 0.5061 dB, equal ones 6.0206 dB, 1 kohm into a 10 Mohm meter 0.01 % (Ohm's law)."""
    ratio = physics.divider(source_ohm=source_ohm, load_ohm=load_ohm)
    assert -float(physics.db_from_ratio(ratio=ratio)) == pytest.approx(loss_db, abs=last_digit)


def test_coils_in_series_and_parallel() -> None:
    """Two 4 ohm coils in parallel are 2 ohm, 4 with 2 ohm 1.3333, two pairs in series in parallel 4 (Kirchhoff)."""
    assert float(physics.parallel(4, 4)) == 2.0
    assert float(physics.parallel(4, 2)) == pytest.approx(4 / 3, rel=1e-15)
    for text, ohm in (("2 x 4 ohm parallel", 2.0), ("2 x 4 ohm series", 8.0), ("4 x 4 ohm series-parallel", 4.0)):
        coils = Coils.parse(text)
        assert coils.factor * coils.each.nominal == ohm
