"""Formatting of voltages, of values with their ±, and of paragraphs."""

from __future__ import annotations

import math
import textwrap

WIDTH = 96


_VOLTS = ((1.0, "V"), (1e-3, "mV"), (1e-6, "µV"))
_NEAR = 1000
"""A voltage is given in the unit of another that is less than this many times larger or smaller."""


def three_figures(value: float) -> str:
    """Return a number with three figures and without a power of ten: `1390`, `13.9`, `0.0139`; more figures above 999."""
    if not value or not math.isfinite(value):
        return f"{value:g}"
    return f"{float(f'{value:.3g}') if abs(value) < 1000 else round(value):.12f}".rstrip("0").rstrip(".")


def volts(value: float, *, like: float | None = None) -> str:
    """Return a voltage with three figures, in V, mV or µV.

    Parameters
    ----------
    like : a voltage beside which it is shown: it has that one's unit, unless they are far apart.
    """
    if value == 0:
        return "0 V"
    if not math.isfinite(value):
        return "-"
    size = abs(value)
    if size < 0.5e-6:
        return "< 1 µV"
    if like and math.isfinite(like) and 1 / _NEAR < size / abs(like) < _NEAR:
        size = abs(like)
    rounded_size = float(f"{size:.3g}")
    scale, unit = next(((s, u) for s, u in _VOLTS if rounded_size >= s), _VOLTS[-1])
    return f"{three_figures(value / scale)} {unit}"


def rounded(value: float, half: float | None) -> str:
    """Return a value with its ±: the ± with two figures, the value to the same decimal (JCGM 100:2008, 7.2.6)."""
    if not half or not math.isfinite(half) or not math.isfinite(value):
        return f"{value:.3g}"
    digits = max(0, 1 - math.floor(math.log10(half)))
    if digits > 4:  # more precise than is useful
        return f"{value:.4f}".rstrip("0").rstrip(".") if abs(value) < 1000 else f"{value:.1f}"
    return f"{value:.{digits}f} ± {half:.{digits}f}"


def wrapped(text: str, indent: int, first: str = "") -> str:
    """Return a paragraph in lines of the terminal's width, indented by a number of spaces; `first` begins its first line."""
    pad = " " * indent
    return textwrap.fill(text, WIDTH, initial_indent=first or pad, subsequent_indent=pad, break_on_hyphens=False)
