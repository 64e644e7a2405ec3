"""Photos and notes on a paper: upright, in each kind of file, each with what was written of it."""

from __future__ import annotations

import io

import pypdfium2
import pytest
from PIL import Image

from gainwright.adapters.paper_pdf import paper_pdf
from gainwright.app.set_up.photos import read_photo
from gainwright.report.languages import language
from gainwright.report.paper import Block, Heading, Paper, Paragraph, Picture
from gainwright.report.paper_content import paper_content, paper_html
from gainwright.report.photos import PaperNote, note_blocks, picture_svg

RED, BLUE = (255, 0, 0), (0, 0, 255)
TURNED = {1: None, 2: 0, 3: 3, 4: 1, 5: 5, 6: 4, 7: 6, 8: 2}
"""Orientation of Exif -> the transposition of Pillow's `ImageOps.exif_transpose` that makes it upright."""


def picture(kind: str, orientation: int = 1) -> Picture:
    """Return a photo that is red above and blue below once it is upright."""
    upright = Image.new("RGB", (160, 240), BLUE)
    upright.paste(RED, (0, 0, 160, 120))
    back = {6: 8, 8: 6}.get(orientation, orientation)
    method = TURNED[back]
    stored = upright if method is None else upright.transpose(Image.Transpose(method))
    exif, out = Image.Exif(), io.BytesIO()
    exif[0x0112] = orientation
    stored.save(out, kind, exif=exif.tobytes(), quality=95)
    photo = read_photo(out.getvalue(), keep_orientation=False)
    assert kind != "JPEG" or photo.orientation == orientation
    return Picture(photo.content, photo.media_type, photo.width, photo.height, photo.orientation, "red above blue")


def paper(*blocks: Block) -> dict[str, object]:
    """Return the content of a handover with some blocks."""
    return paper_content(Paper("handover", "A car", "", blocks), language("en"), lambda _chart, _into: "")


def bands(pdf: bytes) -> list[str]:
    """Return the colours down the middle of the photo on the first page, from above."""
    shown = pypdfium2.PdfDocument(pdf)[0].render(scale=1).to_pil().convert("RGB")
    found: list[str] = []
    for y in range(shown.height):
        row = {shown.getpixel((x, y)) for x in range(0, shown.width, 4)}
        red = any(p[0] > 200 and p[1] < 60 and p[2] < 60 for p in row)
        blue = any(p[2] > 200 and p[1] < 60 and p[0] < 60 for p in row)
        name = "both" if red and blue else "red" if red else "blue" if blue else ""
        if name and (not found or found[-1] != name):
            found.append(name)
    return found


@pytest.mark.parametrize(
    ("kind", "orientation"), [("PNG", 1), ("WEBP", 1), *(("JPEG", turned) for turned in range(1, 9))]
)
def test_photo_is_upright_in_a_pdf(kind: str, orientation: int) -> None:
    """As PDFium draws the page: red above, blue below, whichever way the camera was held."""
    assert bands(paper_pdf(paper(picture(kind, orientation)), date="2026-11-27")) == ["red", "blue"]


def test_photo_stands_in_html_with_its_alternative() -> None:
    """Inside the file, so that it needs no other."""
    html = paper_html(paper(picture("PNG")))
    assert 'href="data:image/png;base64,' in html
    assert 'aria-label="red above blue"' in html


def test_notes_name_their_step() -> None:
    """Its number where the plan still has it; a photo may be alone."""
    found = note_blocks(
        [PaperNote("7.2", "plug loose"), PaperNote("", "left over"), PaperNote("3", "", picture("PNG"))]
    )
    assert [b.text for b in found if isinstance(b, (Heading, Paragraph))] == [
        "Photos and notes",
        "Step 7.2: plug loose",
        "left over",
        "Step 3",
    ]
    assert isinstance(found[-1], Picture)
    assert note_blocks([]) == ()


def test_drawing_keeps_the_proportions() -> None:
    """A photo that is held upright is as high as one that lies, at most."""
    assert 'width="213.3" height="320.0" viewBox="0 0 160 240"' in picture_svg(picture("JPEG", 6))
