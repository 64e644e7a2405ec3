"""A paper as PDF by Typst, offline: content goes in as JSON, fonts come with the package, the date is given."""

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
"""What a paper without a date is stamped with, so that the same input gives the same bytes."""


class TypstPrinter:
    """Prints papers with Typst."""

    def pdf(self, content: Mapping[str, Any], *, date: str) -> bytes:
        """Return a PDF; see `paper_pdf`."""
        return paper_pdf(content, date=date)


SHARES = (1.0, 0.96, 0.92, 0.88, 0.84, 0.8)
"""Shares of the wished type size that are tried."""
BREAK = "\u200b"
"""Zero width space: a line may be broken here."""
LONGEST = 24
"""Letters of a word that is left to hyphenation."""
_WHOLE = ("svg", "kind", "language", "paper", "alternative", "name")


def paper_pdf(content: Mapping[str, Any], *, date: str) -> bytes:
    """Return a tagged PDF of a paper's content.

    It is made to PDF/UA-1; where a text holds signs that no font here has, as plain tagged PDF instead.

    Parameters
    ----------
    content : see `report.paper_content`.
    date : ISO date, or empty.

    Raises
    ------
    CallError : it can't be set; says what stands against it.
    """
    import typst

    stamp = datetime.datetime.fromisoformat(date).replace(tzinfo=datetime.UTC) if date else BEGINNING
    inputs = _fitting({**_breakable(content), "name": content["title"]})
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
    raise CallError(f"the paper can't be set: {failed[:200]}", code="not_set", remedy="write it as .html instead")


def _fitting(content: dict[str, Any]) -> dict[str, str]:
    """Return a paper's input in the largest type with which it fits on its pages; in its own type where none does."""
    import typst

    for share in SHARES if content["pages"] else ():
        inputs = {"paper": json.dumps({**content, "size": share * content["size"]}, ensure_ascii=False)}
        try:
            pages = json.loads(typst.query(str(TEMPLATE), "<pages>", field="value", one=True, sys_inputs=inputs))
        except typst.TypstError:
            break
        if pages <= content["pages"]:
            return inputs
    return {"paper": json.dumps(content, ensure_ascii=False)}


def _breakable(value: Any) -> Any:
    """Return content whose long words may be broken, so that no name runs off the page; drawings stay as they are."""
    if isinstance(value, str):
        return re.sub(r"\S{13,}", lambda m: _broken(m[0]), value)
    if isinstance(value, list):
        return [_breakable(item) for item in value]
    if isinstance(value, dict):
        return {key: item if key in _WHOLE else _breakable(item) for key, item in value.items()}
    return value


def _broken(word: str) -> str:
    """Return a word with places to break: after its joints, and anywhere in a part that no hyphenation shortens."""
    parts = re.split(r"(?<=[._/-])(?=.)", word)
    return BREAK.join(
        part[i : i + step]
        for part in parts
        for step in [LONGEST if len(part) <= LONGEST else 8]
        for i in range(0, len(part), step)
    )
