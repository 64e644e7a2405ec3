"""Any typed text is read or refused with one error, and what is written back reads the same."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from gainwright.errors import AnswerError
from gainwright.quantities import (
    Quantity,
    decimal,
    parse,
    read_choice,
    read_lead,
    read_measured,
    read_ohms,
    read_plain_number,
    read_position,
    read_row,
    read_step,
    read_volts,
    whole_number,
)

WORDS = ("silent", "faint", "both right")
READERS: dict[str, Callable[[str], Any]] = {
    "volts": read_volts,
    "volts and distortion": lambda text: read_volts(text, second="distortion"),
    "volts and place": lambda text: read_volts(text, second="place"),
    "ohms": read_ohms,
    "lead": read_lead,
    "gain": lambda text: read_position(text, "fraction"),
    "level": lambda text: read_position(text, "ratio"),
    "step": read_step,
    "row": read_row,
    "row or step": lambda text: read_row(text, step_alone=True),
    "word": lambda text: read_choice(text, WORDS),
    "file": lambda text: read_measured(text, "voltage", exact=False, words=("over_range",)),
}
PIECES = st.sampled_from(
    [
        "0",
        "1",
        "12",
        "350",
        ",5",
        ".5",
        "4k7",
        "R47",
        "1M5",
        "k",
        "M",
        "m",
        "ohm",
        "Ω",
        "V",
        "mV",
        "%",
        "dB",
        "OL",
        "0L",
        "open",
        "not",
        "shorted",
        "and",
        "at",
        "step",
        ";",
        ",",
        "/",
        "-",
        "−",
        "±",
        "..",
        "\t",
        "²",
        "٣",
        "３",
        "nan",
        "e9",
    ]
)
TYPED = st.lists(PIECES | st.text(max_size=3), max_size=6).map(" ".join) | st.lists(PIECES, max_size=4).map("".join)
NUMBERS = st.tuples(st.integers(0, 999), st.sampled_from(["", ".", ","]), st.integers(0, 9999)).map(
    lambda n: f"{n[0]}{n[1]}{n[2]}" if n[1] else f"{n[0]}"
)
SPACES = st.sampled_from(["", " ", "\u00a0", "\u2009", "  "])


@given(TYPED | st.text(max_size=30), st.sampled_from(sorted(READERS)))
@example("²", "row or step")
@example("Infinity", "volts")
@example("1e9999 ohm", "lead")
def test_typed_text_is_read_or_refused_and_reads_back_the_same(text: str, reader: str) -> None:
    """Text raises only the project's own error, and the `str()` of an answer reads as that answer."""
    read = READERS[reader]
    try:
        found = read(text)
    except AnswerError as error:
        assert error.what
        assert error.remedy
        return
    written = f"{found:g}" if isinstance(found, float) else str(found)
    assert read(written) == found


@given(
    NUMBERS, SPACES, st.sampled_from([("ohm", 1.0), ("kΩ", 1e3), ("M", 1e6), ("Mohm", 1e6), ("mΩ", 1e-3), ("", 1.0)])
)
def test_ohms_are_the_number_times_the_prefix(number: str, space: str, unit: tuple[str, float]) -> None:
    """Whatever the decimal sign, the space and the spelling of the unit; alone, for a lead, and as the second value of a lead."""
    wanted = pytest.approx(float(number.replace(",", ".")) * unit[1], rel=1e-12)
    text = f"{number}{space}{unit[0]}"
    alone, lead, second = read_ohms(text), read_lead(text).end_to_end, read_lead(f"open; {text}").between
    assert isinstance(alone, Quantity)
    assert alone.nominal == wanted
    assert lead == second == alone


@given(st.integers(0, 999), st.sampled_from("RkKM"), st.from_regex(r"[0-9]{1,3}", fullmatch=True))
def test_the_letter_of_a_component_is_its_decimal_sign(whole: int, letter: str, part: str) -> None:
    """The letter and digit code of IEC 60062: the letter replaces the point and gives the power of ten."""
    factor = {"R": 1.0, "k": 1e3, "K": 1e3, "M": 1e6}[letter]
    found = read_ohms(f"{whole}{letter}{part}")
    assert isinstance(found, Quantity)
    assert found.nominal == pytest.approx(float(f"{whole}.{part}") * factor, rel=1e-12)


@given(st.floats(0, 1000).map(lambda v: round(v, 3)), NUMBERS, st.sampled_from([" ", ";", "\t", "; ", ", "]))
def test_a_row_holds_its_step_and_volts(step: float, volts: str, between: str) -> None:
    """Whatever the separator."""
    row = read_row(f"{step:g}{between}{volts}")
    assert row.step == step
    assert isinstance(row.volts, Quantity)
    assert row.volts.nominal == pytest.approx(float(volts.replace(",", ".")), rel=1e-12)


@given(st.text(max_size=20) | TYPED)
def test_bare_number_is_ascii_and_finite_or_refused(text: str) -> None:
    """An accepted number is valid in any program, and has no digits of other scripts."""
    found = decimal(text)
    if found is not None:
        assert found.isascii()
        float(found)
    number = whole_number(text)
    assert number is None or str(number) == text.strip().lstrip("0") or (number == 0 and set(text.strip()) == {"0"})
    with contextlib.suppress(AnswerError):
        assert math.isfinite(read_plain_number(text))


@given(st.sampled_from("²٣۴५３𝟛①"), st.sampled_from(["{} V", "1{} V", "1.{} V", "1 .. {} V", "1 V ± {} %"]))
def test_a_job_file_takes_ascii_digits_only(digit: str, form: str) -> None:
    """The same holds in quantities of a job file."""
    with pytest.raises(ValueError, match=r"is no|known unit"):
        parse(form.format(digit), "voltage")
