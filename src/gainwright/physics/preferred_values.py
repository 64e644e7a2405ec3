"""Preferred values of resistors: the E series."""

from __future__ import annotations

import math

E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
"""IEC 60063, two figures; E12 is every second, E6 every fourth, E3 every eighth."""
FINE = (48, 96, 192)


def preferred_mantissas(*, series: int) -> tuple[float, ...]:
    """Return the values of one decade, 1 up to 10, of an E series (IEC 60063).

    E48, E96 and E192 are 10^(i/n) rounded to three figures, 9.20 in place of 9.19. ValueError for another series.
    """
    if series in (3, 6, 12, 24):
        return tuple(value / 10 for value in E24[:: 24 // series])
    if series not in FINE:
        raise ValueError(f"series are 3, 6, 12, 24, 48, 96 and 192, not {series}")
    rounded = (round(10 ** (i / series), 2) for i in range(series))
    return tuple(9.20 if value == 9.19 else value for value in rounded)


def preferred_values(*, series: int, low: float, high: float) -> tuple[float, ...]:
    """Return all values of an E series within two bounds, both included.

    IEC 60063. ValueError for bounds that aren't above zero and in order.
    """
    if not 0 < low <= high:
        raise ValueError(f"bounds are above zero and in order, not {low} and {high}")
    decades = range(math.floor(math.log10(low)), math.floor(math.log10(high)) + 1)
    values = (float(f"{m * 10.0**decade:.6g}") for decade in decades for m in preferred_mantissas(series=series))
    return tuple(value for value in values if low <= value <= high)
