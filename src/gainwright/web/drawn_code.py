"""An address drawn as a QR code (ISO/IEC 18004): for the terminal as text, for a page as SVG."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
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


def as_svg(address: str) -> str:
    """Return the code as an SVG element of class `code`, its inks by the sheet's classes; empty for nothing."""
    if not address:
        return ""
    rows = [list(map(bool, row)) for row in _made(address).matrix_iter(scale=1, border=QUIET)]
    size = len(rows)
    dark = "".join(f"M{x} {y}h1v1h-1z" for y, row in enumerate(rows) for x, module in enumerate(row) if module)
    return (
        f'<svg class="code" viewBox="0 0 {size} {size}" role="img" aria-label="The address with the code, drawn" '
        f'shape-rendering="crispEdges"><path class="light" d="M0 0h{size}v{size}H0z"/><path class="dark" d="{dark}"/></svg>'
    )


def _made(address: str) -> segno.QRCode:
    import segno

    return segno.make(address, error="m", micro=False, boost_error=False)
