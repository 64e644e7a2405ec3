"""A paper as PDF by Typst, offline: the content is passed as JSON, fonts come with the package, the date is given."""

from __future__ import annotations

import datetime
import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Mapping

TEMPLATE = Path(__file__).with_name("paper.typ")
BEGINNING = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)
"""Timestamp of a paper without a date, so that the same input gives the same bytes."""


class TypstPrinter:
    """Prints papers with Typst."""

    def pdf(self, content: Mapping[str, Any], *, date: str) -> bytes:
        """Return a PDF; see `paper_pdf`."""
        return paper_pdf(content, date=date)


SIZE_RATIOS = (1.0, 0.96, 0.92, 0.88, 0.84, 0.8)
"""Ratios to the standard type size that are tried."""
BREAK_HERE = "\u200b"
"""Zero-width space: a line may break here."""
LONGEST_UNBROKEN = 24
"""Letters of the longest word that is left to hyphenation."""
_WHOLE = ("svg", "kind", "language", "paper", "alternative", "name")


def paper_pdf(content: Mapping[str, Any], *, date: str) -> bytes:
    """Return a tagged PDF of a paper's content.

    It conforms to PDF/UA-1, unless a text contains characters that no available font has; then it is only tagged.

    Parameters
    ----------
    content : see `report.paper_content`.
    date : ISO date, or empty.

    Raises
    ------
    CallError : it can't be typeset; gives the reason.
    """
    import typst

    stamp = datetime.datetime.fromisoformat(date).replace(tzinfo=datetime.UTC) if date else BEGINNING
    inputs = _fit_to_pages({**_with_breaks_in(content), "name": content["title"]})
    failed = ""
    for standards in (["ua-1"], []):
        try:
            made = typst.compile(  # type: ignore[call-overload]
                str(TEMPLATE),
                format="pdf",
                sys_inputs=inputs,
                pdf_standards=standards,
                timestamp=int(stamp.timestamp()),
            )
        except typst.TypstError as error:
            failed = str(error).splitlines()[0]
            continue
        assert isinstance(made, bytes)  # noqa: S101  one document, no output file
        return made
    raise CallError(f"the paper can't be typeset: {failed[:200]}", code="not_set", remedy="write it as .html instead")


def _fit_to_pages(content: dict[str, Any]) -> dict[str, str]:
    """Return a paper's input with the largest type size that fits its number of pages; the standard size if none does."""
    import typst

    for share in SIZE_RATIOS if content["pages"] else ():
        inputs = {"paper": json.dumps({**content, "size": share * content["size"]}, ensure_ascii=False)}
        try:
            pages = json.loads(typst.query(str(TEMPLATE), "<pages>", field="value", one=True, sys_inputs=inputs))
        except typst.TypstError:
            break
        if pages <= content["pages"]:
            return inputs
    return {"paper": json.dumps(content, ensure_ascii=False)}


def _with_breaks_in(value: Any) -> Any:
    """Return content whose long words may be broken, so that no name leaves the page; drawings are unchanged."""
    if isinstance(value, str):
        return re.sub(r"\S{13,}", lambda m: _with_breaks(m[0]), value)
    if isinstance(value, list):
        return [_with_breaks_in(item) for item in value]
    if isinstance(value, dict):
        return {key: item if key in _WHOLE else _with_breaks_in(item) for key, item in value.items()}
    return value


def _with_breaks(word: str) -> str:
    """Return a word with break opportunities: after punctuation, and every few letters in parts too long for hyphenation."""
    parts = re.split(r"(?<=[._/-])(?=.)", word)
    return BREAK_HERE.join(
        part[i : i + step]
        for part in parts
        for step in [LONGEST_UNBROKEN if len(part) <= LONGEST_UNBROKEN else 8]
        for i in range(0, len(part), step)
    )
