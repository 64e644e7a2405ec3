"""Where clipping begins, from meter readings step by step; reading such a column from text."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

from gainwright.errors import AnswerError, CallError, ReadingError
from gainwright.quantities import ROW_EXAMPLE, Quantity, read_row, read_row_cells, split_cells, unreadable

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from gainwright.metering import Knee, MeterKind

MOST_READINGS = 500
COLUMNS = ("step", "v_rms")


def meter_kind(*, meter: str, accuracy_percent: float) -> MeterKind:
    """Return the kind of a meter.

    Raises
    ------
    CallError : another response than true-rms, average or unknown, or an accuracy outside 0.01 to 20 %.
    """
    from gainwright.metering import MeterKind

    responses: dict[str, Literal["rms", "average", "unknown"]] = {
        "true-rms": "rms",
        "average": "average",
        "unknown": "unknown",
    }
    if meter not in responses:
        raise CallError(
            f"there is no meter of kind {meter!r}",
            code="bad_option",
            where="meter",
            rule="true-rms, average or unknown",
        )
    if not (math.isfinite(accuracy_percent) and 0.01 <= accuracy_percent <= 20):
        raise CallError(
            f"an accuracy of {accuracy_percent:g} % is out of range",
            code="bad_option",
            where="accuracy of the meter",
            rule="it is 0.01 to 20 %",
        )
    return MeterKind(responses[meter], accuracy=accuracy_percent / 100)


def knee_of(
    readings: Sequence[tuple[float, float]],
    *,
    kind: MeterKind,
    limit_percent: float,
    lower: Sequence[tuple[float, float]] = (),
    lower_db: float = 10.0,
    where: str = "",
) -> Knee:
    """Return where clipping begins in a column of (step, volts); `lower` is one with the tone lower by `lower_db`.

    Raises
    ------
    ReadingError : the readings can't be used; `where` is the place that is given.
    """
    from gainwright.metering import LowerColumn, find_knee

    steps, volts = [s for s, _ in readings], [v for _, v in readings]
    second = LowerColumn([s for s, _ in lower], [v for _, v in lower], lower_db) if lower else None
    try:
        return find_knee(steps, volts, meter=kind, limit_thd=limit_percent / 100, lower=second)
    except ReadingError as error:
        raise (error.with_place(where) if where else error) from None


def parse_readings(lines: Iterable[str], where: str) -> list[tuple[float, float]]:
    """Return (step, volts) of lines: a heading `step,v_rms` if there is one, then a step and a voltage each.

    Raises
    ------
    ReadingError : a line isn't a step and a voltage; `where` is place and line.
    """
    readings: list[tuple[float, float]] = []
    columns: tuple[int, int] | None = None
    for number, line in enumerate(lines, start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        place = f"{where}:{number}"
        cells = split_cells(line)
        if not readings and columns is None and any(cell.lower() in COLUMNS for cell in cells):
            columns = _columns(cells, place)
            continue
        readings.append(_row(line, cells, columns, place))
        if len(readings) > MOST_READINGS:
            raise ReadingError(f"over {MOST_READINGS} readings", code="too_large", where=where)
    return readings


def _row(line: str, cells: list[str], columns: tuple[int, int] | None, where: str) -> tuple[float, float]:
    """Return step and volts of a line: of the columns that the heading names, else of its two cells."""
    try:
        if columns is None:
            row = read_row(line)
        elif len(cells) > max(columns):
            row = read_row_cells(cells[columns[0]], cells[columns[1]], text=line)
        else:
            raise unreadable(line, rule="a line holds a step and volts rms", example=ROW_EXAMPLE)
    except AnswerError as error:
        raise ReadingError(error.what, code="bad_readings", where=where, rule=error.rule, remedy=error.remedy) from None
    if not isinstance(row.volts, Quantity):
        raise ReadingError(
            f"the meter was over its range at step {row.step:g}",
            code="bad_readings",
            where=where,
            remedy="set it to a higher range and read that step again",
        )
    return row.step, row.volts.nominal


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
