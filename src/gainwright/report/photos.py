"""Photos and notes of the steps on a paper."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.report.paper import Block, Heading, Paragraph, Picture
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

WIDEST, HIGHEST = 480.0, 320.0
"""Of a photo on paper, CSS pixels."""
_TURNS = {
    2: "matrix(-1 0 0 1 {w} 0)",
    3: "matrix(-1 0 0 -1 {w} {h})",
    4: "matrix(1 0 0 -1 0 {h})",
    5: "matrix(0 1 1 0 0 0)",
    6: "matrix(0 1 -1 0 {h} 0)",
    7: "matrix(0 -1 -1 0 {h} {w})",
    8: "matrix(0 -1 1 0 0 {w})",
}
"""Orientation as in Exif (CIPA DC-008, tag 274) -> the transform that makes a photo of w x h upright."""


@dataclass(frozen=True, slots=True)
class PaperNote:
    """A note of a step as a paper shows it: the step's number (empty when the plan has it no more), its text, its photo if any."""

    step: str
    text: str
    picture: Picture | None = None


def note_blocks(notes: Sequence[PaperNote]) -> tuple[Block, ...]:
    """Return the section of photos and notes; nothing without any."""
    blocks: list[Block] = [Heading(say("Photos and notes"))] if notes else []
    for note in notes:
        where = say("Step {number}", number=note.step) if note.step else ""
        said = say("{step}: {text}", step=where, text=note.text) if where and note.text else where or note.text
        blocks += [Paragraph(said)] if said else []
        blocks += [note.picture] if note.picture is not None else []
    return tuple(blocks)


def picture_svg(picture: Picture) -> str:
    """Return a photo as an SVG drawing that holds it, upright."""
    w, h = picture.width, picture.height
    across, down = (h, w) if picture.orientation >= 5 else (w, h)
    scale = min(WIDEST / across, HIGHEST / down)
    turn = _TURNS.get(picture.orientation, "").format(w=w, h=h)
    turned = f' transform="{turn}"' if turn else ""
    data = base64.b64encode(picture.content).decode()
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{across * scale:.1f}" height="{down * scale:.1f}" viewBox="0 0 {across} {down}">'
        f'<image width="{w}" height="{h}"{turned} href="data:{picture.media_type};base64,{data}"/></svg>'
    )
