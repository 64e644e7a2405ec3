"""Readings typed on a phone: how they are read, and what is refused."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gainwright.app.measuring.typed_readings import AnswerKind, read_answer
from gainwright.errors import CallError


@pytest.mark.parametrize(
    ("text", "value"),
    [("0,35", 0.35), ("350 mV", 0.35), ("350mV", 0.35), ("1.2 V", 1.2), ("1,2V", 1.2), ("12", 12.0), ("  0 ", 0.0)],
)
def test_volts_are_taken_with_comma_point_and_unit(text: str, value: float) -> None:
    """Decimal comma or point, with or without a unit."""
    assert read_answer(text, "volts").value == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("text", ["OL", "o.l", "over range", "Overload"])
def test_over_range_is_a_reading(text: str) -> None:
    """An over-range display is information too."""
    assert read_answer(text, "volts").value == math.inf


@pytest.mark.parametrize(
    ("text", "ohm", "between"),
    [
        ("0,3", 0.3, None),
        ("0.3 ohm", 0.3, None),
        ("0.3 open", 0.3, math.inf),
        ("0,3, open", 0.3, math.inf),
        ("open open", math.inf, math.inf),
        ("OL", math.inf, None),
        ("0.4; 2 ohm", 0.4, 2.0),
        ("shorted", 0.0, 0.0),
        ("1.2 kohm open", 1200.0, math.inf),
        ("0,3 offen", 0.3, math.inf),
        ("unterbrochen; offen", math.inf, math.inf),
        ("0,3 und offen", 0.3, math.inf),
        ("Kurzschluss", 0.0, 0.0),
    ],
)
def test_lead_is_typed_end_to_end_then_between(text: str, ohm: float, between: float | None) -> None:
    """Ohms end to end first, those between its conductors second."""
    found = read_answer(text, "lead")
    assert found.value == pytest.approx(ohm)
    assert found.between == between


def test_gain_position_may_follow_the_volts() -> None:
    """The final position of the gain comes after the reading."""
    found = read_answer("31,6 V at 42,5 %", "volts")
    assert found.value == pytest.approx(31.6)
    assert found.at == "42.5 %"


@pytest.mark.parametrize(
    ("text", "step", "volts"),
    [("34", 34.0, None), ("12 3.45", 12.0, 3.45), ("12 345 mV", 12.0, 0.345), ("12; 3,45", 12.0, 3.45)],
)
def test_column_takes_a_step_alone_or_with_volts(text: str, step: float, volts: float | None) -> None:
    """A step alone is the last clean one; with volts it is a row."""
    found = read_answer(text, "column")
    assert found.value == step
    assert found.volts == (None if volts is None else pytest.approx(volts))


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("", "volts"),
        ("abc", "volts"),
        ("1,2.3", "volts"),
        ("-3", "volts"),
        ("3 ohm", "volts"),
        ("1 .. 2 V", "volts"),
        ("3 V ± 1 V", "volts"),
        ("3 at 140 %", "volts"),
        ("nan", "volts"),
        ("0.3 maybe", "lead"),
        ("quiet", "look"),
        ("-1", "place"),
        ("12 x", "column"),
    ],
)
def test_invalid_reading_is_refused_with_an_example(text: str, asked: AnswerKind) -> None:
    """The error says what would be valid."""
    with pytest.raises(CallError) as caught:
        read_answer(text, asked)
    assert caught.value.remedy


@given(st.text(max_size=30), st.sampled_from(["volts", "supply", "ohm", "lead", "place", "column", "look"]))
def test_any_text_is_a_reading_or_refused(text: str, asked: AnswerKind) -> None:
    """Any text is read or refused; only volts of a supply have a sign."""
    try:
        found = read_answer(text, asked, ("clip",))
    except CallError:
        return
    assert math.isnan(found.value) == (found.lit is not None)
    assert asked == "supply" or not found.value < 0


@pytest.mark.parametrize(
    ("text", "value"), [("-13.8", -13.8), ("\u221213,8 V", -13.8), ("- 13.8", -13.8), ("13.8", 13.8)]
)
def test_volts_of_a_supply_have_a_sign(text: str, value: float) -> None:
    """The leads of the meter or of the supply may be the wrong way round."""
    assert read_answer(text, "supply").value == pytest.approx(value)


@pytest.mark.parametrize("text", ["--13.8", "-", "-OL", "13.8-"])
def test_a_sign_alone_or_twice_is_no_reading(text: str) -> None:
    """Only one sign before a number is a reading."""
    with pytest.raises(CallError):
        read_answer(text, "supply")


@pytest.mark.parametrize(
    ("text", "asked", "told"),
    [
        ("-3", "volts", "on DC"),
        ("-0,35 V", "volts", "on DC"),
        ("12 -3.45", "column", "on DC"),
        ("-4", "ohm", "voltage at the meter"),
        ("-0.3 open", "lead", "voltage at the meter"),
    ],
)
def test_why_a_reading_has_no_sign(text: str, asked: AnswerKind, told: str) -> None:
    """The sentence says what a minus on the meter means there."""
    with pytest.raises(CallError) as caught:
        read_answer(text, asked)
    assert told in caught.value.rule
    assert "read again" in caught.value.remedy
