"""Numbers as people type them: what they mean, what is refused, and only ASCII digits count."""

from __future__ import annotations

import pytest

from gainwright.errors import AnswerError
from gainwright.quantities import (
    OPEN,
    OVER_RANGE,
    Quantity,
    decimal,
    is_bare,
    normalise_text,
    read_measured,
    read_ohms,
    read_plain_number,
    read_volts,
    whole_number,
)

OTHER_DIGITS = ("²", "٣", "۴", "५", "３", "𝟛", "①", "½", "Ⅳ")
"""Superscript, Arabic-Indic, Persian, Devanagari, full-width, mathematical, circled, a fraction, a Roman numeral."""


def value(found: Quantity | str) -> float:
    """Return a quantity's value in SI."""
    assert isinstance(found, Quantity)
    return found.nominal


@pytest.mark.parametrize(
    ("text", "volts"),
    [
        ("0,35", 0.35),
        ("350 mV", 0.35),
        ("350mV", 0.35),
        ("1,2V", 1.2),
        (" .5 ", 0.5),
        ("1\u202f234,5 mV", 1.2345),
        ("12.", 12.0),
        ("3 volts", 3.0),
        ("250 µV", 250e-6),
        ("4V7", 4.7),
        ("1e1", 10.0),
    ],
)
def test_volts_with_comma_point_unit_or_none(text: str, volts: float) -> None:
    """Decimal comma or point, with or without a unit; thin spaces group digits."""
    assert value(read_volts(text).volts) == pytest.approx(volts, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "ohm"),
    [
        ("1 Mohm", 1e6),
        ("1 mohm", 1e-3),
        ("1M", 1e6),
        ("2.2 Meg", 2.2e6),
        ("4k7", 4700.0),
        ("4K7", 4700.0),
        ("1M5", 1.5e6),
        ("R47", 0.47),
        ("4R7", 4.7),
        ("4k7 ohm", 4700.0),
        ("3R", 3.0),
        ("22 kΩ", 22e3),
        ("22 K\u2126", 22e3),
        ("0,3 ohms", 0.3),
    ],
)
def test_ohms_with_prefixes_and_in_the_code_of_components(text: str, ohm: float) -> None:
    """A capital M is mega and a small one milli (SI); in the IEC 60062 code the letter is the decimal point."""
    assert value(read_ohms(text)) == pytest.approx(ohm, rel=1e-12)


@pytest.mark.parametrize("text", ["OL", "0L", "o.l", "0.L", ".OL", "OL V", "0.L mV", "over range", "Overload", "∞"])
def test_over_range_is_a_reading_of_volts(text: str) -> None:
    """What meters show when the reading is out of range."""
    assert read_volts(text).volts == OVER_RANGE


@pytest.mark.parametrize("text", ["OL", "0L", "open", "Open circuit", "OL Mohm", "over_range"])
def test_over_range_is_open_where_ohms_are_read(text: str) -> None:
    """A meter that is over range on ohms sees an open circuit."""
    assert read_ohms(text) == OPEN


@pytest.mark.parametrize("text", ["not open", "isn't open", "no 0L", "never 3"])
def test_a_negation_gives_no_value(text: str) -> None:
    """`not open` isn't `open`, and isn't a resistance either."""
    with pytest.raises(AnswerError, match="doesn't give a value"):
        read_ohms(text)


@pytest.mark.parametrize(
    ("text", "dimension", "says"),
    [
        ("", "voltage", "nothing was entered"),
        ("350 MV", "voltage", "megavolts"),
        ("-3", "voltage", "at least 0 V"),
        ("3 ohm", "voltage", "not of voltage"),
        ("OL ohm", "voltage", "not a valid reading"),
        ("open", "voltage", "not a valid reading"),
        ("3 V", "resistance", "not of resistance"),
        ("1,234.5", "voltage", "not a valid reading"),
        ("1 .. 2", "voltage", "not a valid reading"),
        ("3 V ± 1 V", "voltage", "not a valid reading"),
        ("1_000", "voltage", "not a valid reading"),
        ("1e999", "voltage", "not a valid reading"),
        ("nan", "resistance", "not a valid reading"),
        ("12" + " " * 300 + "x", "voltage", "not a valid reading"),
        ("1" * 400, "voltage", "not a valid reading"),
    ],
)
def test_refusal_gives_reason_and_example(text: str, dimension: str, says: str) -> None:
    """The text, what would be valid, an example."""
    with pytest.raises(AnswerError, match=says) as caught:
        read_measured(text, dimension, unit={"voltage": "V", "resistance": "ohm"}[dimension], words=(OVER_RANGE,))
    assert caught.value.remedy.startswith("write, for example")
    assert caught.value.code == "bad_reading"


def test_files_may_hold_spreads_and_need_a_unit() -> None:
    """In a file a reading may have a spread; a bare number is refused there."""
    assert value(read_measured("0,35 V", "voltage", exact=False)) == pytest.approx(0.35)
    assert value(read_measured("1 V ± 3 %", "voltage", exact=False)) == 1.0
    with pytest.raises(AnswerError, match="has no unit"):
        read_measured("0.35", "voltage", exact=False)


@pytest.mark.parametrize("digit", OTHER_DIGITS)
def test_only_ascii_digits_are_digits(digit: str) -> None:
    """Digits that Python would accept, or crash on, are not numbers: each gets the ordinary error."""
    assert digit.isnumeric()
    assert whole_number(digit) is None
    assert whole_number(f"1{digit}") is None
    assert decimal(digit) is None
    assert not is_bare(f"1{digit}")
    for text in (digit, f"{digit} V", f"1{digit}", f"1.{digit} V", f"{digit},5"):
        for exact in (True, False):
            with pytest.raises(AnswerError, match=r"is not a valid (reading|voltage)"):
                read_measured(text, "voltage", unit="V", exact=exact)
        with pytest.raises(AnswerError, match="is not a valid number"):
            read_plain_number(text, "V")


@pytest.mark.parametrize(
    ("text", "number"),
    [("0", 0), (" 34 ", 34), ("007", 7), ("-1", None), ("1.0", None), ("10000000000", None), ("", None)],
)
def test_whole_numbers(text: str, number: int | None) -> None:
    """ASCII digits only, up to a bound."""
    assert whole_number(text) == number


def test_signs_and_spaces_are_normalised() -> None:
    """Minus signs, no-break spaces and invisible characters of pasted text."""
    assert normalise_text("\u22126\u00a0dB\u200b") == "-6 dB"
    assert read_plain_number("\u22126,5\u2009dB", "dB") == -6.5
    assert normalise_text("12\u00a0345") == "12345"
