"""The drawing of a supply as SVG without a style sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

from gainwright.adapters.chart_style import FONT, INK, MARK

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.report.languages import Language
    from gainwright.report.supply_drawing import SupplyDrawing, SupplyRow

PAPER, SOFT = "#ffffff", "#555555"
LEGEND_HIGH, LINE_HIGH = 26, 17
LETTER_WIDE, MARGIN = 6.6, 12
"""Of a letter of the small texts, and beside them."""


def supply_svg(drawing: SupplyDrawing, into: Language | None = None) -> str:
    """Return a supply as SVG, with texts in a language, English by default."""
    say = str if into is None else into.translate
    high = drawing.high + LEGEND_HIGH
    # texts of another language may be longer than those that the drawing was laid out for
    ends = [MARGIN + LETTER_WIDE * len(say(drawing.legend))]
    ends += [row.text_x + LETTER_WIDE * len(say(text)) for row in drawing.rows for text in (row.detail, *row.figures)]
    wide = max(drawing.wide, max(ends) + MARGIN)
    size = f'width="{wide:g}" height="{high:g}" viewBox="0 0 {wide:g} {high:g}"'
    rows = "".join(_row(row, say) for row in drawing.rows)
    return "".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family={quoteattr(FONT)} role="img">',
            f"<desc>{escape(say(drawing.description))}</desc>",
            f'<rect width="{wide:g}" height="{high:g}" fill="{PAPER}"/>',
            f'<text x="{MARGIN}" y="17" font-size="12" fill="{SOFT}">{escape(say(drawing.legend))}</text>',
            f'<g transform="translate(0 {LEGEND_HIGH})">{rows}</g></svg>',
        ]
    )


def _row(row: SupplyRow, say: Callable[[str], str]) -> str:
    line = ""
    if row.from_y is not None:
        path = f"M{row.from_x:g} {row.from_y:g} V{row.y:g} H{row.x:g}"
        line = f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="{row.width:.1f}" stroke-linejoin="round"/>'
    ink = MARK if row.caution else INK
    shape = (
        f'<circle cx="{row.x:g}" cy="{row.y:g}" r="5" fill="{PAPER}" stroke="{ink}" stroke-width="2"/>'
        if row.kind == "cable"
        else f'<rect x="{row.x - 6:g}" y="{row.y - 6:g}" width="12" height="12" fill="{ink}"/>'
    )
    shown = [
        (row.title, 14, INK, ' font-weight="bold"'),
        (row.detail, 12, SOFT, ""),
        *((f, 12, INK, "") for f in row.figures),
    ]
    lines = [
        f'<text x="{row.text_x:g}" y="{row.y + 4 + LINE_HIGH * i:g}" font-size="{size}" fill="{ink}"{bold}>{escape(say(text))}</text>'
        for i, (text, size, ink, bold) in enumerate(t for t in shown if t[0])
    ]
    return line + shape + "".join(lines)
