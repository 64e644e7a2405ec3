"""The drawing of a chain as SVG without a style sheet: stages as boxes, leads between them, suspected places in bold."""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

from gainwright.adapters.chart_style import FONT, INK, MARK
from gainwright.report import chain_layout as laying

if TYPE_CHECKING:
    from gainwright.report.chain_drawing import ChainDrawing
    from gainwright.report.chain_layout import Balloon, ChainLayout, LeadPath, Stop
    from gainwright.report.languages import Language

PAPER, SOFT = "#ffffff", "#555555"


def chain_svg(drawing: ChainDrawing, into: Language | None = None) -> str:
    """Return a chain as SVG, with texts in a language, English by default."""
    paper = laying.lay_out_for_paper(drawing, into)
    size = f'width="{paper.wide:g}" height="{paper.high:g}" viewBox="0 0 {paper.wide:g} {paper.high:g}"'
    below = laying.TITLE_HIGH + paper.chain.high
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family={quoteattr(FONT)} role="img">',
        f"<desc>{escape(paper.description)}</desc>",
        f'<rect width="{paper.wide:g}" height="{paper.high:g}" fill="{PAPER}"/>',
        _text(paper.title, laying.EDGE, 20, size=15, bold=True),
        f'<g transform="translate(0 {laying.TITLE_HIGH})">{_chain(paper.chain)}</g>',
        *(_text(line, laying.EDGE, below + laying.LINE_HIGH * i + 4, size=12) for i, line in enumerate(paper.lines)),
        "</svg>",
    ]
    return "".join(parts)


def _chain(layout: ChainLayout) -> str:
    leads = [_lead(lead) for lead in sorted(layout.leads, key=lambda lead: lead.suspected)]
    labels = [_text(label.words, label.x, label.y, size=11, ink=SOFT) for label in layout.labels]
    return "".join([*leads, *labels, *map(_stage, layout.stops), *map(_balloon, layout.balloons)])


def _lead(lead: LeadPath) -> str:
    stroke = (
        f'stroke="{MARK}" stroke-width="4" stroke-dasharray="9 4"'
        if lead.suspected
        else f'stroke="{INK}" stroke-width="1.4"'
    )
    return f'<path d="{lead.path}" fill="none" stroke-linejoin="round" {stroke}/>'


def _stage(stop: Stop) -> str:
    stroke = f'stroke="{MARK}" stroke-width="4"' if stop.weight else f'stroke="{INK}" stroke-width="1.4"'
    box = f'<rect x="{stop.x:g}" y="{stop.y:g}" width="{laying.BOX_WIDE}" height="{laying.BOX_HIGH}" fill="{PAPER}" {stroke}/>'
    name = _text(stop.shown, stop.x + laying.TEXT_IN, stop.y + 24, size=14, bold=True)
    return box + name + _text(stop.kind, stop.x + laying.TEXT_IN, stop.y + 43, size=12, ink=SOFT)


def _balloon(balloon: Balloon) -> str:
    circle = (
        f'<circle cx="{balloon.x:g}" cy="{balloon.y:g}" r="11.5" fill="{PAPER}" stroke="{INK}" stroke-width="1.6"/>'
    )
    return circle + _text(balloon.mark, balloon.x, balloon.y + 5, size=13, bold=True, anchor="middle")


def _text(
    words: str, x: float, y: float, *, size: int, bold: bool = False, ink: str = INK, anchor: str = "start"
) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x:g}" y="{y:g}" font-size="{size}" fill="{ink}" text-anchor="{anchor}" xml:space="preserve"{weight}>{escape(words)}</text>'
