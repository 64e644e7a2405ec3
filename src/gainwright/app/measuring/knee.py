"""The knee from a file of readings, or from readings as they are taken."""

from __future__ import annotations

import csv
import math
from typing import TYPE_CHECKING

from gainwright.errors import CallError, ReadingError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from gainwright.metering import Knee, MeterKind

MOST_READINGS = 500
LARGEST_BYTES = 1_000_000
COLUMNS = ("step", "v_rms")


def meter_kind(*, meter: str, accuracy_percent: float) -> MeterKind:
    """Return the kind of meter that the options name.

    Raises
    ------
    CallError : another response, or an accuracy outside 0.01 to 20 %.
    """
    from gainwright.metering import MeterKind

    if meter not in ("true-rms", "average"):
        raise CallError(f"a meter of kind {meter!r}", code="bad_option", where="meter", rule="true-rms or average")
    if not (math.isfinite(accuracy_percent) and 0.01 <= accuracy_percent <= 20):
        raise CallError(
            f"an accuracy of {accuracy_percent:g} %",
            code="bad_option",
            where="accuracy of the meter",
            rule="it is 0.01 to 20 %",
        )
    return MeterKind("rms" if meter == "true-rms" else "average", accuracy=accuracy_percent / 100)


def knee_of_file(file: Path, *, kind: MeterKind, limit_percent: float) -> tuple[Knee, list[tuple[float, float]]]:
    """Return what a file of readings says, and the readings.

    Raises
    ------
    ReadingError : it can't be read, or a line holds no step and voltage; `where` is file and line.
    """
    from gainwright.metering import find_knee

    readings = read_readings(file)
    try:
        found = find_knee([s for s, _ in readings], [v for _, v in readings], meter=kind, limit_thd=limit_percent / 100)
    except ReadingError as error:
        raise error.placed(str(file)) from None
    return found, readings


def read_readings(file: Path) -> list[tuple[float, float]]:
    """Return (step, volts) of a file with the columns `step,v_rms`.

    Raises
    ------
    ReadingError : it can't be read, or a line holds no step and voltage; `where` is file and line.
    """
    where = str(file)
    try:
        if file.is_dir():
            raise ReadingError("is a folder", code="not_a_file", where=where, remedy="name a file of readings")
        if file.stat().st_size > LARGEST_BYTES:
            raise ReadingError("is over 1 MB", code="too_large", where=where, rule="a column of readings is short")
        text = file.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise ReadingError(
            f"can't be read: {error.strerror}", code="not_readable", where=where, remedy="check the name"
        ) from None
    except UnicodeDecodeError:
        raise ReadingError("is no UTF-8 text", code="encoding", where=where, remedy="save it as CSV in UTF-8") from None
    return parse_readings(text.splitlines(), where)


def parse_readings(lines: Iterable[str], where: str) -> list[tuple[float, float]]:
    """Return (step, volts) of lines: a heading `step,v_rms` if there is one, then a step and a voltage each.

    Raises
    ------
    ReadingError : a line holds no step and voltage; `where` is place and line.
    """
    found: list[tuple[float, float]] = []
    columns = (0, 1)
    for number, line in enumerate(lines, start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        cells = _cells(line)
        if not found and any(cell.lower() in COLUMNS for cell in cells):
            columns = _columns(cells, f"{where}:{number}")
            continue
        if len(cells) <= max(columns):
            raise _no_reading(line, f"{where}:{number}")
        try:
            found.append((_number(cells[columns[0]]), _volts(cells[columns[1]])))
        except ValueError:
            raise _no_reading(line, f"{where}:{number}") from None
        if len(found) > MOST_READINGS:
            raise ReadingError(f"over {MOST_READINGS} readings", code="too_large", where=where)
    return found


def _cells(line: str) -> list[str]:
    for separator in (";", "\t", ","):
        if separator in line:
            return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
    step, _, rest = line.strip().partition(" ")
    return [step, rest.strip()]


def _columns(cells: list[str], where: str) -> tuple[int, int]:
    names = [cell.lower() for cell in cells]
    missing = [name for name in COLUMNS if name not in names]
    if missing:
        raise ReadingError(
            f"the column {missing[0]} is missing",
            code="missing_column",
            where=where,
            rule=f"columns are {','.join(COLUMNS)}",
            remedy="name both in the first line, or leave the names out",
        )
    return names.index("step"), names.index("v_rms")


def _no_reading(line: str, where: str) -> ReadingError:
    return ReadingError(
        f"{line.strip()[:40]!r} is no reading",
        code="bad_readings",
        where=where,
        rule="a line holds a step and volts rms",
        remedy="write for example 12,3.45 or 12 3.45 V",
    )


def _number(text: str) -> float:
    value = float(text.removesuffix("%").strip().replace(",", "."))
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def _volts(text: str) -> float:
    if text and text[-1] in "Vv":
        from gainwright.quantities import parse

        return parse(text.replace(",", "."), "voltage").nominal
    return _number(text)
