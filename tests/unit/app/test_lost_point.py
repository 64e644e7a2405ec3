"""A lost decimal point is recognised by the expected interval."""

from __future__ import annotations

import io
import math
import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gainwright.app.measuring.lost_point import interval_of_row, is_within, places_lost, with_point_moved
from gainwright.app.measuring.typed_readings import AnswerKind, doubt_about, read_answer
from gainwright.errors import DoubtfulReadingError


@pytest.mark.parametrize(
    ("value", "low", "high", "places"),
    [
        (1390.0, 13.5, 14.1, -2),
        (139.0, 13.5, 14.1, -1),
        (1.39, 13.5, 14.1, 1),
        (350.0, 0.3, 0.4, -3),
        (13.9, 13.5, 14.1, None),
        (14.3, 13.5, 14.1, None),
        (1200.0, 13.5, 14.1, None),
        (0.0, 13.5, 14.1, None),
        (-1390.0, 13.5, 14.1, None),
        (math.inf, 13.5, 14.1, None),
        (30.0, 0.0, 0.99, None),
        (300.0, 2.0, 25.0, None),
        (3.0, math.nan, math.nan, None),
    ],
)
def test_places_by_which_a_point_is_lost(value: float, low: float, high: float, places: int | None) -> None:
    """A shift that brings it inside; none where it is inside, can't be brought there, or the interval is too wide to tell."""
    assert places_lost(value, low, high) == places


@given(st.floats(1e-3, 1e3), st.floats(1.0, 9.0), st.floats(0, 1), st.sampled_from([-3, -2, -1, 1, 2, 3]))
def test_any_shift_out_of_an_interval_is_found_again(low: float, ratio: float, share: float, lost: int) -> None:
    """A value inside, its point moved, is brought back inside, and by the shift that was made unless another one fits too."""
    high = low * ratio
    shown = float(f"{low + share * (high - low):.3g}") * 10.0**lost
    if is_within(shown, low, high):
        return
    found = places_lost(shown, low, high)
    assert found is not None
    assert is_within(shown * 10.0**found, low, high)
    assert abs(found) <= abs(lost)


@pytest.mark.parametrize(
    ("text", "places", "number", "moved"),
    [
        ("1390", -2, 0, "13.90"),
        ("1390 V", -2, 0, "13.90 V"),
        ("1,39 V at 40 %", 1, 0, "13.9 V at 40 %"),
        ("34 1390", -2, 1, "34 13.90"),
        ("0.35", 3, 0, "350"),
        ("34", -2, 1, None),
        ("1.39e3", -2, 0, None),
    ],
)
def test_all_digits_are_kept_as_typed(text: str, places: int, number: int, moved: str | None) -> None:
    """Only the point moves; the comma becomes one."""
    assert with_point_moved(text, places, number=number) == moved


@pytest.mark.parametrize(
    ("text", "asked", "interval", "meant"),
    [
        ("1390", "supply", (13.5, 14.1), "13.90"),
        ("13.9", "supply", (13.5, 14.1), None),
        ("350 V at 40", "volts", (0.33, 0.36), "0.350 V at 40"),
        ("350 mV", "volts", (0.33, 0.36), None),
        ("3.5 V", "volts", (0.33, 0.36), "0.35 V"),
        ("34", "ohm", (3.0, 3.8), "3.4"),
        ("3k4", "ohm", (3.0, 3.8), None),
        ("34 784", "column", (7.0, 9.0), "34 7.84"),
        ("OL", "volts", (0.33, 0.36), None),
    ],
)
def test_question_names_what_was_meant(
    text: str, asked: AnswerKind, interval: tuple[float, float], meant: str | None
) -> None:
    """As it would be typed, and readable as the value inside."""
    found = doubt_about(text, asked, read_answer(text, asked), interval, expected="13.5 to 14.1 V")
    assert (found.candidate if found else None) == meant


def test_question_travels_with_its_candidate() -> None:
    """To another process, with a place, as JSON."""
    error = DoubtfulReadingError("is it 13.9?", candidate="13.9", remedy="say")
    for copy in (error, pickle.loads(pickle.dumps(error)), error.with_place("here")):  # noqa: S301  our own
        assert isinstance(copy, DoubtfulReadingError)
        assert (copy.code, copy.candidate, copy.remedy) == ("asked_about", "13.9", "say")
    assert error.with_place("here").as_json()["candidate"] == "13.9"
    assert error.with_place("here").where == "here"


def test_lost_point_in_the_terminal_is_asked_about_once() -> None:
    """Each of the two answers counts: the row as it was meant, or the same line again."""
    from gainwright.cli.knee_dialogue import run_knee_dialogue
    from gainwright.metering import MeterKind

    said: list[str] = []
    lines = io.StringIO("30 2.0\n31 224\n31 2.24\n32 25.2\n32 25.2\n33 2.8\n\n")
    _, readings = run_knee_dialogue(lines, said.append, kind=MeterKind(), limit_percent=1.0)
    asked = [line for line in said if line.startswith("Was it")]
    assert asked[0] == "Was it 31 2.24? Type that, or 31 224 again to keep it."
    assert asked[1].startswith("Was it 32 2.52?")
    assert readings[:3] == [(30.0, 2.0), (31.0, 2.24), (32.0, 25.2)]


def test_row_is_held_against_its_neighbour() -> None:
    """Up it rises by 3 dB a step at most, and never falls; the first row is held against nothing."""
    rows = [(30.0, 2.0), (34.0, 4.0), (35.0, None)]
    assert interval_of_row([], 3) is None
    low, high = interval_of_row(rows, 36) or (0, 0)
    assert low == pytest.approx(4.0 / 10 ** (1 / 20))
    assert high == pytest.approx(4.0 * 10 ** (7 / 20))
    low, high = interval_of_row(rows, 29) or (0, 0)
    assert low == pytest.approx(2.0 / 10 ** (4 / 20))
    assert high == pytest.approx(2.0 * 10 ** (1 / 20))
