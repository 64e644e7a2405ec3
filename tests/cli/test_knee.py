"""`gainwright knee`: files, typed readings, JSON, refusals."""

from __future__ import annotations

import io
import json
import subprocess
from pathlib import Path

import pytest
from commands import run
from hypothesis import given
from hypothesis import strategies as st
from tapered_columns import tapered

from gainwright.app.measuring.knee import parse_readings
from gainwright.errors import ReadingError

READINGS = "step,v_rms\n12,1.82\n13,2.16\n14,2.57\n15,3.05\n16,3.63\n17,4.30\n18,4.98\n19,5.33\n20,5.55\n"


def call(*arguments: str, cwd: Path, typed: str = "") -> subprocess.CompletedProcess[str]:
    """Run `gainwright knee ...`."""
    return run("knee", *arguments, folder=cwd, typed=typed)


def test_a_file_of_readings(tmp_path: Path) -> None:
    """Every key of the JSON, a text, a chart."""
    (tmp_path / "r.csv").write_text(READINGS)
    done = call("r.csv", "--json", "--chart", "k.svg", cwd=tmp_path)
    found = json.loads(done.stdout)
    assert {"last_clean_step", "ceiling_v_rms", "ceiling_low", "ceiling_high", "db_per_step", "confidence"} <= set(
        found
    )
    assert found["last_clean_step"] == 17
    assert found["ceiling_low"] < found["ceiling_v_rms"] < found["ceiling_high"]
    assert (tmp_path / "k.svg").read_bytes().startswith(b"<svg")
    text = call("r.csv", "--tone", "1000", cwd=tmp_path).stdout
    assert "last clean step   17" in text
    assert "handheld meters" in text


def test_readings_typed_one_by_one(tmp_path: Path) -> None:
    """Advice after each, invalid ones asked again, the last one taken back."""
    lines = READINGS.splitlines()[1:]
    typed = "\n".join(
        ["wrong", *(line.replace(",", " ") for line in lines[:3]), "15 305", "undo", *lines[3:], "", "99 9"]
    )
    done = call(cwd=tmp_path, typed=typed)
    assert done.returncode == 0
    assert "is not a valid reading" in done.stderr
    assert "Go on: read at step 13" in done.stderr
    assert "last clean step   17" in done.stdout
    assert "9 readings" in done.stdout


def test_meter_and_lower_tone_are_typed() -> None:
    """The kind of meter is asked; after `lower 10` the same steps belong to a second column, which undo takes back alone."""
    from gainwright.cli.knee_dialogue import run_knee_dialogue
    from gainwright.metering import MeterKind

    column = tapered(105, "growing")
    rows = [f"{s:g} {v:g}" for s, v in zip(*column.read(), strict=True)]
    lower = [f"{s:g} {v:g}" for s, v in zip(*column.read(10), strict=True) if s >= 10]
    said: list[str] = []
    lines = io.StringIO(
        "\n".join(["average", *rows[:4], *rows[-9:], "lower 99", "lower", *lower[-9:-1], "40 1", "undo"])
    )
    kind = MeterKind("unknown", accuracy=0.005)
    found, readings = run_knee_dialogue(lines, said.append, kind=kind, limit_percent=1.0, ask_meter=True)
    assert "true-rms or average-responding" in said[0]
    assert any("3 to 40 dB" in line for line in said)
    assert len(readings) == 13 + 8
    assert found.last_clean_step == column.last_clean


@pytest.mark.parametrize(
    ("content", "arguments", "says"),
    [
        ("1,1\n2,2\n", ("r.csv", "--tone", "nan"), "the tone can't be nan Hz"),
        (None, ("r.csv",), "can't be read"),
        ("step,volts\n1,2\n", ("r.csv",), "r.csv:1: the column v_rms is missing"),
        ("step,v_rms\n1,2\nx,y\n", ("r.csv",), "r.csv:3: 'x,y' is not a valid reading"),
        ("1\n", ("r.csv",), "r.csv:1"),
        ("1,0\n2,0\n", ("r.csv",), "above zero"),
        (READINGS, ("r.csv", "--limit", "90"), "0.01 to 40 %"),
        (READINGS, ("r.csv", "--meter", "peak"), "true-rms, average or unknown"),
        (READINGS, ("r.csv", "--accuracy", "nan"), "0.01 to 20 %"),
        (READINGS, ("r.csv", "--chart", "k.doc"), ".svg or .png"),
    ],
)
def test_unusable_columns_are_refused(
    tmp_path: Path, content: str | None, arguments: tuple[str, ...], says: str
) -> None:
    """Status 2, one sentence."""
    if content is not None:
        (tmp_path / "r.csv").write_text(content)
    done = call(*arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("line", ["12,3.45", "12;3,45", "12\t3.45", "12 3.45", "12 3.45 V", "12, 3450 mV", "12 %;3.45"])
def test_ways_to_write_a_reading(line: str) -> None:
    """Comma, semicolon, tab, space; volts and millivolts."""
    assert parse_readings([line], "x")[0] == pytest.approx((12.0, 3.45))


@given(st.text(max_size=60))
def test_any_line_is_read_or_refused(line: str) -> None:
    """The reader of lines, fuzzed."""
    try:
        parse_readings(line.splitlines(), "x")
    except ReadingError as error:
        assert str(error).startswith("x")
    except Exception as error:  # noqa: BLE001  anything else is what is looked for
        pytest.fail(repr(error))


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("²,3.45", "is not a valid reading"),
        ("12,٣", "is not a valid reading"),
        ("12,OL", "over its range at step 12; set it to a higher range"),
        ("12,3,45", "is not a valid reading"),
        ("12,350 MV", "megavolts"),
    ],
)
def test_ambiguous_or_unreadable_lines_are_refused(line: str, says: str) -> None:
    """Only ASCII digits are digits; over range is reported as such; three cells aren't two; nothing is dropped silently."""
    with pytest.raises(ReadingError, match=says):
        parse_readings([line], "x")


def test_a_decimal_comma_in_both_columns_and_steps_below_zero() -> None:
    """With a space as separator, both cells may have a decimal comma; a step may be a volume setting in decibels."""
    assert parse_readings(["12,5 3,45", "-20;1,5", "-19.5 1600 mV"], "x") == [
        (12.5, pytest.approx(3.45)),
        (-20.0, 1.5),
        (-19.5, 1.6),
    ]
