"""Units against pint, decibel references, and spreads against the guides to uncertainty (JCGM 100 and 101)."""

from __future__ import annotations

import functools
import math
import re
from typing import Any

import GTC
import numpy as np
import pint
import pytest
from scipy import stats

from gainwright.quantities import DIMENSIONS, Normal, Uniform, draw, parse
from gainwright.quantities.dimensions import to_si

DRAWS = 2**14


@functools.cache
def units() -> Any:
    """Return pint's units."""
    return pint.UnitRegistry()


@pytest.mark.parametrize(
    ("dimension", "unit"),
    [(d.name, u) for d in DIMENSIONS.values() if d.pint_unit for u in d.units],
)
def test_short_table_of_units_agrees_with_pint(dimension: str, unit: str) -> None:
    """Every unit of the short table converts as in the general-purpose units library."""
    kind = DIMENSIONS[dimension]
    spelled = re.sub(r"(?<=m)([23])$", r"**\1", unit.replace("²", "2").replace("³", "3"))
    expected = units().Quantity(1.0, spelled).to(kind.pint_unit).magnitude
    assert to_si(1.0, unit, kind) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("text", "dimension"), [("2 inch", "length"), ("3 feet", "length"), ("1 hour", "time")])
def test_units_outside_the_table_go_through_pint(text: str, dimension: str) -> None:
    """Other units that people write are converted by pint."""
    expected = units()(text).to(DIMENSIONS[dimension].pint_unit).magnitude
    assert parse(text, dimension).nominal == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "volts"),
    [("0 dBu", 0.7746), ("4 dBu", 1.2277), ("-10 dBV", 0.31623), ("0 dBV", 1.0), ("2.21 dBu", 0.99899)],
)
def test_decibel_references_of_voltage(text: str, volts: float) -> None:
    """0 dBu is the voltage of 1 mW in 600 ohm, sqrt(0.6) V; 0 dBV is 1 V (IEC 60027-3); five printed digits."""
    assert parse(text, "voltage").nominal == pytest.approx(volts, rel=5e-5)


def test_a_tolerance_is_the_95_per_cent_interval() -> None:
    """`4 V ± 10 %` leaves 2.5 % of draws on either side (JCGM 100:2008, 6.2.2, G.1: k = 1.96 for 95 %)."""
    values = draw({"v": parse("4 V ± 10 %", "voltage")}, draws=DRAWS, seed=1)["v"]
    low, high = np.quantile(values, [0.025, 0.975])
    assert (low, high) == pytest.approx((3.6, 4.4), abs=2e-3)
    assert np.std(values) == pytest.approx(0.4 / 1.959964, rel=2e-3)


def test_quantiles_are_those_of_scipy() -> None:
    """Normal and uniform spreads invert the distribution functions of scipy.stats."""
    p = np.array([1e-6, 0.01, 0.3, 0.5, 0.9, 0.999999])
    np.testing.assert_allclose(Normal(3, 2).quantile(p), stats.norm.ppf(p, 3, 2 / stats.norm.ppf(0.975)), rtol=1e-12)
    np.testing.assert_allclose(Uniform(2, 5).quantile(p), stats.uniform.ppf(p, 2, 3), rtol=1e-12)


def test_the_standard_deviation_of_a_range() -> None:
    """A rectangular distribution of half-width a has u = a/sqrt(3) (JCGM 100:2008, 4.3.7)."""
    values = draw({"v": parse("2 .. 5 V", "voltage")}, draws=DRAWS, seed=1)["v"]
    assert np.std(values) == pytest.approx(1.5 / math.sqrt(3), rel=1e-3)


@pytest.mark.parametrize(
    ("text", "half_width", "within"),
    [
        # JCGM 101:2008, 9.2.2: four N(0, 1): u = 2.0 and 95 % interval ±3.92
        (f"0 dB ± {stats.norm.ppf(0.975)} dB", 3.92, 0.03),
        # 9.2.3: four rectangular of u = 1: 95 % interval ±2 sqrt(3) (2 - (3/5)^(1/4)) = ±3.8794
        (f"{-math.sqrt(3)} .. {math.sqrt(3)} dB", 3.8794, 0.02),
    ],
)
def test_propagated_distributions(text: str, half_width: float, within: float) -> None:
    """The additive examples of JCGM 101:2008, 9.2: the sum of four quantities, by drawing."""
    drawn = draw({name: parse(text, "ratio") for name in "abcd"}, draws=2**16, seed=7)
    total = np.sum(list(drawn.values()), axis=0)
    assert np.std(total) == pytest.approx(2.0, rel=5e-3)
    assert np.quantile(total, [0.025, 0.975]) == pytest.approx([-half_width, half_width], abs=within)


def test_one_dominant_rectangular_distribution() -> None:
    """JCGM 101:2008, 9.2.4: three of u = 1 and one of u = 10: u = 10.1, 95 % interval ±17.0 (the GUM's own ±19.9)."""
    narrow, wide = math.sqrt(3), 10 * math.sqrt(3)
    texts = dict.fromkeys("abc", f"{-narrow} .. {narrow} dB") | {"d": f"{-wide} .. {wide} dB"}
    total = np.sum(list(draw({n: parse(t, "ratio") for n, t in texts.items()}, draws=2**16, seed=3).values()), axis=0)
    assert np.std(total) == pytest.approx(10.1, abs=0.1)
    assert np.quantile(total, 0.975) == pytest.approx(17.0, abs=0.1)


def test_the_power_of_a_reading() -> None:
    """P = V^2/R of 28.28(27) V and 4.00(4) ohm: u(P)/P = 2.1555 % (JCGM 100:2008, 5.1), as GTC computes too."""
    k = stats.norm.ppf(0.975)
    drawn = draw(
        {"v": parse(f"28.28 V ± {0.27 * k} V", "voltage"), "r": parse(f"4 ohm ± {0.04 * k} ohm", "resistance")},
        draws=2**16,
        seed=5,
    )
    power = drawn["v"] ** 2 / drawn["r"]
    by_law = GTC.ureal(28.28, 0.27) ** 2 / GTC.ureal(4.0, 0.04)
    assert GTC.uncertainty(by_law) / GTC.value(by_law) == pytest.approx(0.021555, rel=1e-4)
    assert np.std(power) / np.mean(power) == pytest.approx(0.021555, rel=5e-3)


def test_draws_are_evenly_spread_and_repeatable() -> None:
    """Each quantity has one draw in each of equal shares (a Sobol' net of 2^m points); the same seed gives the same draws."""
    q = {"a": parse("0 .. 1 V", "voltage"), "b": parse("0 .. 1 V", "voltage")}
    one, again, other = (draw(q, draws=256, seed=s) for s in (4, 4, 5))
    assert np.array_equal(one["b"], again["b"])
    assert not np.array_equal(one["b"], other["b"])
    assert np.all(np.histogram(one["a"], bins=256, range=(0, 1))[0] == 1)
    assert abs(np.corrcoef(one["a"], one["b"])[0, 1]) < 0.02


@pytest.mark.parametrize(
    ("text", "square_mm"),
    [("AWG 4", 21.15), ("4 AWG", 21.15), ("12 ga", 3.309), ("1/0 AWG", 53.49), ("AWG 4/0", 107.2), ("18 AWG", 0.8231)],
)
def test_wire_gauges(text: str, square_mm: float) -> None:
    """Cross-sections of solid round wire, ASTM B258 table 1 (values from memory), four digits."""
    assert parse(text, "area").nominal == pytest.approx(square_mm * 1e-6, rel=5e-4)
