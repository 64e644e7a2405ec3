"""Check that numeric options are within their bounds."""

from __future__ import annotations

import math

from gainwright.errors import CallError


def check_bounds(*options: tuple[str, float | None, float, float, str]) -> None:
    """Refuse the first option that is outside its bounds; None means not given.

    Parameters
    ----------
    options : name in words, value, lowest, highest, unit.

    Raises
    ------
    CallError : `bad_option`; gives the bounds.
    """
    for name, value, low, high, unit in options:
        if value is not None and not (math.isfinite(value) and low <= value <= high):
            shown = f"{value:g} {unit}".strip()
            rule = f"it is {low:g} to {high:g} {unit}".strip()
            raise CallError(f"the {name} can't be {shown}", code="bad_option", where=name, rule=rule)
