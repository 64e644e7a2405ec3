"""Readings typed one by one in a terminal, with advice after each."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import CallError, ReadingError

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import TextIO

    from gainwright.metering import Knee, MeterKind

ASK = """Turn the control down and disconnect the speakers, then play the tone.
Type a step and the meter's volts, for example: 12 3.45
After each reading you see whether to go on. An empty line ends; `undo` removes the last reading."""


def run_knee_dialogue(
    lines: TextIO, say: Callable[[str], None], *, kind: MeterKind, limit_percent: float
) -> tuple[Knee, list[tuple[float, float]]]:
    """Return the knee of typed readings; after an error the line can be typed again.

    Raises
    ------
    CallError : nothing was typed.
    """
    from gainwright.app.measuring.knee import knee_of, parse_readings
    from gainwright.app.measuring.lost_point import meant_row
    from gainwright.report.knee import advice_text

    say(ASK)
    readings: list[tuple[float, float]] = []
    found: Knee | None = None
    asked = ""
    for line in lines:
        if not line.strip():
            break
        try:
            if line.strip().lower() == "undo":
                readings, asked = readings if asked else readings[:-1], ""
            else:
                read = parse_readings([line], "typed")
                meant = meant_row(line, readings, *read[0]) if len(read) == 1 else None
                if meant is not None and line.split() != asked.split():
                    asked = line
                    say(f"Was it {meant}? Type that, or {line.strip()} again to keep it.")
                    continue
                readings += read
                asked = ""
            if not readings:
                continue
            found = knee_of(readings, kind=kind, limit_percent=limit_percent)
        except ReadingError as error:
            if readings and line.strip().lower() != "undo" and error.code != "bad_readings":
                raise
            say(str(error))
            continue
        say(advice_text(found, readings))
    if found is None or not readings:
        raise CallError("no reading was typed", code="bad_call", remedy="type 12 3.45, or name a file of readings")
    return found, readings
