"""Adds the names of command options to errors, which name only the quantity below the command line."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gainwright.errors import GainwrightError

OPTIONS = {
    "accuracy of the meter": "--accuracy",
    "calibration": "--calibrate",
    "case": "--case",
    "channels": "--channels",
    "cluster": "--scheduler",
    "date": "--date",
    "duration": "--seconds",
    "expected frequency": "--expect",
    "input": "--device",
    "kind of paper": "--kind",
    "language": "--language",
    "load": "--load",
    "meter": "--meter",
    "meter reading": "--meter-reads",
    "output": "--out",
    "paper size": "--paper",
    "power": "--power",
    "power, load and calibration": "--power, --load and --calibrate",
    "recorder": "--recorder",
    "reference": "--reference",
    "scan to resume": "--resume",
    "series": "--series",
    "step": "--step",
    "temperature": "--temperature",
    "THD limit": "--limit",
    "tolerance of the calibration": "--within",
    "tone": "--tone",
    "unreachable places": "--cant-reach",
}
"""Quantity named in an error's `where` -> the option that sets it."""

REMEDIES = {"no_cache": "--no-cache", "no_processes": "--workers 1", "no_scheduler": "--resume"}
"""Code of an error -> the option that its remedy refers to."""


def with_option(error: GainwrightError) -> GainwrightError:
    """Return an error with the names of the options to change, if there are any."""
    thing, _, value = error.where.partition(" at ")
    if thing in OPTIONS:
        error = error.with_place(f"{OPTIONS[thing]} {value}".strip())
    if error.code in REMEDIES:
        remedy = f"{error.remedy} ({REMEDIES[error.code]})"
        error = type(error)(error.what, code=error.code, where=error.where, rule=error.rule, remedy=remedy)
    return error
