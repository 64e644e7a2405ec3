"""Readings typed one by one in a terminal, with advice after each."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from gainwright.errors import CallError, ReadingError

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import TextIO

    from gainwright.metering import Knee, MeterKind

ASK = """Turn the control down and disconnect the speakers, then play the tone.
Type a step and the meter's volts, for example: 12 3.45
After each reading you see whether to go on. An empty line ends; `undo` removes the last reading.
With the tone lowered by 10 dB, type `lower 10` and then the same steps once more: they show the control's own steps."""
ASK_METER = (
    """Is the meter true-rms or average-responding? Type `true-rms` or `average`; without an answer both are weighed."""
)
LOWER_DB = 10.0


@dataclass(slots=True)
class _Typed:
    """What was typed so far: the column, the one with the tone lower, and which of them comes next."""

    kind: MeterKind
    readings: list[tuple[float, float]] = field(default_factory=list)
    lower: list[tuple[float, float]] = field(default_factory=list)
    lower_db: float = 0.0

    @property
    def column(self) -> list[tuple[float, float]]:
        return self.lower if self.lower_db else self.readings

    def command(self, line: str) -> bool:
        """Carry out a line that isn't a reading; return whether it was one."""
        from gainwright.app.measuring.knee import meter_kind

        words = line.strip().lower().split()
        if words == ["undo"]:
            del self.column[-1:]
        elif words and words[0] in ("true-rms", "average", "unknown") and len(words) == 1:
            shows = meter_kind(meter=words[0], accuracy_percent=100 * self.kind.accuracy).shows
            self.kind = replace(self.kind, shows=shows)
        elif words and words[0] == "lower":
            by = words[1] if len(words) > 1 else f"{LOWER_DB:g}"
            if not re.fullmatch(r"[0-9]{1,2}(?:[.][0-9]+)?", by) or not 3 <= float(by) <= 40:
                raise ReadingError(
                    f"the tone {by} dB lower", code="bad_option", rule="it must be 3 to 40 dB lower", remedy="lower 10"
                )
            self.lower_db = float(by)
        else:
            return False
        return True

    def knee(self, limit_percent: float) -> Knee:
        from gainwright.app.measuring.knee import knee_of

        return knee_of(
            self.readings, kind=self.kind, limit_percent=limit_percent, lower=self.lower, lower_db=self.lower_db
        )


def run_knee_dialogue(
    lines: TextIO, say: Callable[[str], None], *, kind: MeterKind, limit_percent: float, ask_meter: bool = False
) -> tuple[Knee, list[tuple[float, float]]]:
    """Return the knee of typed readings, and the readings; after an error the line can be typed again.

    Raises
    ------
    CallError : nothing was typed.
    """
    from gainwright.app.measuring.knee import parse_readings
    from gainwright.app.measuring.lost_point import meant_row
    from gainwright.report.knee import advice_text

    say(ASK + ("\n" + ASK_METER if ask_meter else ""))
    typed = _Typed(kind)
    found: Knee | None = None
    asked = ""
    for line in lines:
        if not line.strip():
            break
        try:
            if asked and line.strip().lower() == "undo":
                asked = ""
            elif not typed.command(line):
                read = parse_readings([line], "typed")
                meant = meant_row(line, typed.column, *read[0]) if len(read) == 1 else None
                if meant is not None and line.split() != asked.split():
                    asked = line
                    say(f"Was it {meant}? Type that, or {line.strip()} again to keep it.")
                    continue
                typed.column.extend(read)
            asked = ""
            if not typed.readings:
                continue
            found = typed.knee(limit_percent)
        except ReadingError as error:
            if typed.readings and line.strip().lower() != "undo" and error.code not in ("bad_readings", "bad_option"):
                raise
            say(str(error))
            continue
        say(advice_text(found, [*typed.readings, *typed.lower]))
    if found is None or not typed.readings:
        raise CallError("no reading was typed", code="bad_call", remedy="type 12 3.45, or name a file of readings")
    return found, [*typed.readings, *typed.lower]
