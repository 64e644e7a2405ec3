"""An address drawn as a QR code (ISO/IEC 18004): for the terminal as text, for a page as SVG."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    import segno

QUIET = 4
"""Blank modules around, as the standard wants them."""
HALVES = {(True, True): " ", (False, False): "\u2588", (False, True): "\u2580", (True, False): "\u2584"}
"""Two modules one above the other -> a character; light modules are drawn, since terminals are mostly dark."""


def as_text(address: str, *, encoding: str | None = "utf-8") -> str:
    """Return the code for a terminal; empty when the terminal can't show its characters, or it would be empty."""
    if not address:
        return ""
    try:
        "".join(HALVES.values()).encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return ""
    rows = [list(map(bool, row)) for row in _made(address).matrix_iter(scale=1, border=QUIET)]
    if len(rows) % 2:
        rows.append([False] * len(rows[0]))
    return "\n".join(
        "".join(HALVES[pair] for pair in zip(upper, lower, strict=True))
        for upper, lower in zip(rows[::2], rows[1::2], strict=True)
    )


@dataclass(frozen=True, slots=True)
class Drawn:
    """A code for a page.

    Attributes
    ----------
    size : modules along a side, the blank ones around included.
    path : the dark ones as an SVG path, a module one unit wide.
    """

    size: int
    path: str


def drawn(address: str) -> Drawn | None:
    """Return the code for a page; None when there is nothing to draw."""
    if not address:
        return None
    rows = list(_made(address).matrix_iter(scale=1, border=QUIET))
    return Drawn(len(rows), "".join(_runs(y, row) for y, row in enumerate(rows)))


def _runs(y: int, row: Iterable[int]) -> str:
    ends, at = [], 0
    for dark, run in itertools.groupby(row):
        length = len(list(run))
        if dark:
            ends.append(f"M{at} {y}h{length}v1h-{length}z")
        at += length
    return "".join(ends)


def _made(address: str) -> segno.QRCode:
    import segno

    return segno.make(address, error="m", micro=False, boost_error=False)
