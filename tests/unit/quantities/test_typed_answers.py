"""Answers of more than one number: leads, rows of a column, control positions, words."""

from __future__ import annotations

import math

import pytest

from gainwright.errors import AnswerError
from gainwright.quantities import (
    OPEN,
    Quantity,
    read_choice,
    read_lead,
    read_position,
    read_row,
    read_several,
    read_step,
    read_volts,
    split_cells,
)


def number(found: Quantity | str | None) -> float | None:
    """Return a value in SI, infinite for a word."""
    return found if found is None else found.nominal if isinstance(found, Quantity) else math.inf


@pytest.mark.parametrize(
    ("text", "ohm", "between"),
    [
        ("0,3", 0.3, None),
        ("0.3 ohm", 0.3, None),
        ("0.3 open", 0.3, math.inf),
        ("0,3, open", 0.3, math.inf),
        ("open open", math.inf, math.inf),
        ("OL", math.inf, None),
        ("0L", math.inf, None),
        ("0L 0L", math.inf, math.inf),
        ("0.4; 2 ohm", 0.4, 2.0),
        ("shorted", None, 0.0),
        ("0.3 shorted", 0.3, 0.0),
        ("1.2 kohm open", 1200.0, math.inf),
        ("1 Mohm", 1e6, None),
        ("4k7 open", 4700.0, math.inf),
        ("R47 and OL", 0.47, math.inf),
        ("open/0.2", math.inf, 0.2),
    ],
)
def test_a_lead_is_read_end_to_end_then_between(text: str, ohm: float | None, between: float | None) -> None:
    """A bad lead never looks perfect: `0L` is open, `1 Mohm` a million ohms, `4k7` one number."""
    found = read_lead(text)
    assert number(found.end_to_end) == (None if ohm is None else pytest.approx(ohm))
    assert number(found.between) == between


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("not open", "doesn't give a value"),
        ("0.3 not open", "doesn't give a value"),
        ("0.3 maybe", "not a known unit"),
        ("1 000", "one number or two"),
        ("0,3,2", "one number or two"),
        ("1 2 3", "not a valid reading"),
        ("0.3open", "not a valid reading"),
        ("²", "not a valid reading"),
        ("-1", "at least 0 ohm"),
        ("", "nothing was entered"),
    ],
)
def test_unreadable_lead_values_are_refused(text: str, says: str) -> None:
    """No number is picked out of a sentence, and ambiguous text is refused."""
    with pytest.raises(AnswerError, match=says) as caught:
        read_lead(text)
    assert "write, for example" in caught.value.remedy


@pytest.mark.parametrize(
    ("text", "step", "volts"),
    [
        ("34", 34.0, None),
        ("step 34", 34.0, None),
        ("12 3.45", 12.0, 3.45),
        ("12 345 mV", 12.0, 0.345),
        ("12; 3,45", 12.0, 3.45),
        ("12,3.45", 12.0, 3.45),
        ("12, 3.45", 12.0, 3.45),
        ("12,5 3,45", 12.5, 3.45),
        ("12\t3,45", 12.0, 3.45),
        ("12,5 V", 12.0, 5.0),
        ("step 12: 3.45", 12.0, 3.45),
        ("12 = 3.45", 12.0, 3.45),
        ('"12","3.45"', 12.0, 3.45),
        ("12 OL", 12.0, math.inf),
        ("12;0L", 12.0, math.inf),
    ],
)
def test_a_row_is_a_step_with_volts(text: str, step: float, volts: float | None) -> None:
    """Separated by a space, a semicolon, a tab or a comma; over range is valid."""
    found = read_row(text, step_alone=True)
    assert found.step == step
    assert number(found.volts) == (None if volts is None else pytest.approx(volts))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("12,3", "step alone, or"),
        ("12 x", "not a valid reading"),
        ("1001", "0 to 1000"),
        ("OL 12", "not a valid reading"),
        ("²", "0 to 1000"),
    ],
)
def test_ambiguous_rows_are_refused(text: str, says: str) -> None:
    """Text that could be a step or a row."""
    with pytest.raises(AnswerError, match=says):
        read_row(text, step_alone=True)


def test_a_step_alone_is_not_a_row() -> None:
    """Where a row is expected a single number is refused; a comma separates cells."""
    with pytest.raises(AnswerError, match="a step and volts"):
        read_row("34")
    assert number(read_row("12,3").volts) == 3.0


@pytest.mark.parametrize("line", ["a" * 200_000, '"' * 200_000, "\0,1", '"a\0";1'])
def test_any_line_gives_cells_or_none(line: str) -> None:
    """A line that no table can contain has no readings."""
    with pytest.raises(AnswerError):
        read_row(";".join(split_cells(line)))


def test_volts_with_distortion_or_a_gain_position() -> None:
    """Per cent of distortion, or the final gain position."""
    with_thd = read_volts("1,2; 3 %", second="distortion")
    assert (number(with_thd.volts), number(with_thd.distortion)) == (1.2, 0.03)
    with_place = read_volts("31,6 V at 42,5", second="place")
    assert (number(with_place.volts), str(with_place.place)) == (31.6, "42.5 %")
    for text, second in (("1.2 3", "distortion"), ("3 at 140 %", "place"), ("1.2 3 %", "place"), ("1.2 3 %", "")):
        with pytest.raises(AnswerError):
            read_volts(text, second=second)


def test_control_positions() -> None:
    """Per cent of a gain's range and decibels of a level need no unit; a step is a number."""
    assert str(read_position("37,5", "fraction")) == "37.5 %"
    assert str(read_position("\u22126 db", "ratio")) == "-6 dB"
    assert read_step("Step 12,5") == 12.5
    for text in ("140", "6 dB", "²", "low"):
        with pytest.raises(AnswerError):
            read_position(text, "fraction")


def test_only_the_given_words_are_accepted() -> None:
    """Case, hyphens and underscores don't matter; the example is the nearest word."""
    assert read_choice("Both-right", ("good", "both right")) == "both right"
    assert read_choice("ja", ("on", "off")) == "on"
    assert read_choice("Keine", ("moved", "stayed", "none")) == "none"
    assert read_several("keine", ("clip",)) == ()
    assert read_choice("tone", {"the tone": "fundamental", "tone": "fundamental"}) == "fundamental"
    with pytest.raises(AnswerError, match=r"silent, faint or normal.*example, silent"):
        read_choice("silnt", ("silent", "faint", "normal"))
    assert read_lead("OPEN").end_to_end == OPEN
