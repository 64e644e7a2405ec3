"""Formatting of voltages, of values with their ±, and of paragraphs."""

from __future__ import annotations

import math
import textwrap

WIDTH = 96


def volts(value: float) -> str:
    """Return a voltage with three figures, in V, mV or µV."""
    if value == 0:
        return "0 V"
    if not math.isfinite(value):
        return "-"
    if value < 0.5e-6:
        return "< 1 µV"
    return f"{value * 1e6:.3g} µV" if value < 1e-3 else f"{value * 1e3:.3g} mV" if value < 1 else f"{value:.3g} V"


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
