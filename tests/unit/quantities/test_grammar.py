"""The grammar of quantities: what is accepted, what is refused, and the messages."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gainwright.errors import QuantityError
from gainwright.quantities import DIMENSIONS, Exact, Normal, Uniform, Unknown, parse, quantity


@pytest.mark.parametrize(
    ("text", "dimension", "spread"),
    [
        ("4 V", "voltage", Exact(4.0)),
        ("4V", "voltage", Exact(4.0)),
        ("250 mV", "voltage", Exact(0.25)),
        ("4 V ± 10 %", "voltage", Normal(4.0, 0.4, 0.0)),
        ("4 V +- 0.2 V", "voltage", Normal(4.0, 0.2, 0.0)),
        ("4 V +/- 200 mV", "voltage", Normal(4.0, 0.2, 0.0)),
        ("2 .. 5 V", "voltage", Uniform(2.0, 5.0)),
        ("200 mV .. 5 V", "voltage", Uniform(0.2, 5.0)),
        ("−6 dB", "ratio", Exact(-6.0)),
        ("-6 dB ± 1 dB", "ratio", Normal(-6.0, 1.0, -200.0)),
        ("20 %", "fraction", Exact(0.2)),
        ("20 % ± 5 %", "fraction", Normal(0.2, 0.05, 0.0)),
        ("2.5 mm²", "area", Exact(2.5e-6)),
        ("3.2 kHz", "frequency", Exact(3200.0)),
        ("0.7", "number", Exact(0.7)),
        ("88 dB SPL", "sound level", Exact(88.0)),
        ("0,5 V", "voltage", Exact(0.5)),
        ("0,125 V", "voltage", Exact(0.125)),
        ("0,2 .. 5 V", "voltage", Uniform(0.2, 5.0)),
        ("1,5 V ± 0,1 V", "voltage", Normal(1.5, 0.1, 0.0)),
        ("4 - 5 V", "voltage", Uniform(4.0, 5.0)),
        ("4-5 V", "voltage", Uniform(4.0, 5.0)),
        ("500 mV to 1,5 V", "voltage", Uniform(0.5, 1.5)),
        ("4 – 5 V", "voltage", Uniform(4.0, 5.0)),
        ("4 bis 5 V", "voltage", Uniform(4.0, 5.0)),
        ("2e-3 V", "voltage", Exact(0.002)),
        ("75 W RMS per channel", "power", Exact(75.0)),
        ("75 W nominal", "power", Exact(75.0)),
        ("2.5k", "frequency", Exact(2500.0)),
        ("2,5 qmm", "area", Exact(2.5e-6)),
        ("21 sq mm", "area", Exact(21e-6)),
        ("1 percent", "fraction", Exact(0.01)),
        ("1kHz", "frequency", Exact(1000.0)),
        ("80 hz", "frequency", Exact(80.0)),
        ("75 W RMS", "power", Exact(75.0)),
        ("75 Wrms", "power", Exact(75.0)),
        ("75 Watts", "power", Exact(75.0)),
        ("1,2 kW RMS", "power", Exact(1200.0)),
        ("2 V rms", "voltage", Exact(2.0)),
        ("500 mv", "voltage", Exact(0.5)),
        ("4 Ohms", "resistance", Exact(4.0)),
        ("4 ohms ± 5 %", "resistance", Normal(4.0, 0.2, 0.0)),
        ("-6db", "ratio", Exact(-6.0)),
        ("40 amps", "current", Exact(40.0)),
        ("unknown", "power", Unknown()),
        ("Unknown", "power", Unknown()),
    ],
)
def test_valid_quantities(text: str, dimension: str, spread: object) -> None:
    """The grammar of the job file: value, unit, spread."""
    read = parse(text, dimension)
    assert type(read.spread) is type(spread)
    if not isinstance(spread, Unknown):
        assert read.nominal == pytest.approx(spread.nominal)
        assert read.interval == pytest.approx(spread.interval)
    assert str(read) == text
    assert read.known is not isinstance(spread, Unknown)


@pytest.mark.parametrize(
    ("text", "dimension", "code", "says"),
    [
        ("4 W", "voltage", "wrong_unit", "W is a unit of power, not of voltage"),
        ("4", "voltage", "wrong_unit", "has no unit"),
        ("4 furlongs", "voltage", "wrong_unit", "a voltage in V is expected here"),
        ("4 blahs", "length", "wrong_unit", "not a known unit"),
        ("-4 ohm", "resistance", "out_of_bounds", "at least 0 ohm"),
        ("0 W", "power", "out_of_bounds", "above 0 W"),
        ("120 %", "fraction", "out_of_bounds", "at most 100 %"),
        ("+3 dBFS", "level", "out_of_bounds", "at most 0 dBFS"),
        ("nan V", "voltage", "no_quantity", "write, for example, 4 V"),
        ("inf V", "voltage", "no_quantity", "write, for example, 4 V"),
        ("1e999 V", "voltage", "no_quantity", "write, for example, 4 V"),
        ("", "voltage", "no_quantity", "write, for example, 4 V"),
        ("five volts", "voltage", "no_quantity", "write, for example, 4 V"),
        ("1,500 W", "power", "no_quantity", "write 1500 or 1.5"),
        ("200 W max", "power", "wrong_unit", "write the continuous (RMS) figure"),
        ("48 AWG", "area", "wrong_unit", "not a known unit"),
        ("5 .. 2 V", "voltage", "empty_range", "write 2 V .. 5"),
        ("5 .. 5 V", "voltage", "empty_range", "write the one value without .."),
        ("1 .. 2 .. 3 V", "voltage", "no_quantity", "write, for example, 4 V"),
        ("4 V ± 0 V", "voltage", "empty_range", "± 5 %"),
        ("4 V ± -1 V", "voltage", "empty_range", "± 5 %"),
        ("4 V ±", "voltage", "no_quantity", "write, for example, 4 V"),
        ("-6 dB ± 10 %", "ratio", "wrong_unit", "± 1 dB"),
        ("4 dBu ± 1 dB", "voltage", "wrong_unit", "a spread is only allowed on a voltage in volts"),
        ("3 dB", "level", "wrong_unit", "dB is a unit of ratio, not of level"),
        ("3 dBm", "voltage", "wrong_unit", "dBm is not a unit of voltage"),
        ("3 kHz\x1b[2J", "level", "wrong_unit", r"'kHz\x1b[2J' is not a unit of level"),
    ],
)
def test_invalid_quantities_are_refused(text: str, dimension: str, code: str, says: str) -> None:
    """An error names the text, the rule and what would be valid."""
    with pytest.raises(QuantityError) as caught:
        parse(text, dimension)
    assert caught.value.code == code
    assert says in str(caught.value)


def test_a_reversed_range_suggests_the_right_one() -> None:
    """The remedy can be typed in verbatim."""
    with pytest.raises(QuantityError) as caught:
        parse("5 V .. 2 V", "voltage")
    assert parse(caught.value.remedy.removeprefix("write "), "voltage").interval == pytest.approx((2.075, 4.925))


def test_a_very_long_text_is_shortened_in_its_error() -> None:
    """A long text does not fill the screen."""
    with pytest.raises(QuantityError) as caught:
        parse("4" * 10_000 + " V", "voltage")
    assert len(str(caught.value)) < 300


def test_a_spread_can_not_go_below_the_physical_bound() -> None:
    """A resistance of 0.1 ohm ± 0.2 ohm is drawn at 0 where the normal distribution is below."""
    import numpy as np

    drawn = parse("0.1 ohm ± 0.2 ohm", "resistance").spread.quantile(np.linspace(0.001, 0.999, 99))  # type: ignore[union-attr]
    assert drawn.min() == 0


@given(value=st.floats(1e-4, 1e4), dimension=st.sampled_from(["voltage", "resistance", "power", "frequency", "time"]))
def test_a_quantity_made_from_a_number_reads_back(value: float, dimension: str) -> None:
    """Its text holds the value to six digits."""
    made = quantity(value, dimension)
    assert parse(made.text, dimension).nominal == pytest.approx(value, rel=1e-5)


@given(text=st.text(max_size=30), dimension=st.sampled_from(sorted(DIMENSIONS)))
def test_any_text_is_read_or_refused(text: str, dimension: str) -> None:
    """Any text gives a quantity or a QuantityError; a quantity is finite, in bounds, and prints back."""
    try:
        read = parse(text, dimension)
    except QuantityError as error:
        assert error.code
        assert error.remedy
        return
    assert str(read) == text.strip()
    if read.known:
        assert math.isfinite(read.nominal)
        assert DIMENSIONS[dimension].low <= read.nominal <= DIMENSIONS[dimension].high


@given(
    number=st.floats(allow_nan=True, allow_infinity=True),
    unit=st.sampled_from(["V", "mV", "dBu", "%", "dB", "ohm", "kg", "V V", "V/0", "V**9", "__class__", "1/V"]),
    spread=st.sampled_from(["", " ± 5 %", " ± 1 V", " .. 3 V", " ±", " ± nan"]),
)
def test_texts_near_the_grammar_are_read_or_refused(number: float, unit: str, spread: str) -> None:
    """Near misses too."""
    try:
        assert math.isfinite(parse(f"{number} {unit}{spread}", "voltage").nominal)
    except QuantityError as error:
        assert error.rule or error.remedy
