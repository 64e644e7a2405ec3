"""Parse the text typed into a form into the values of the file."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from gainwright.jobfile.forms.form import Field

_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?")
_WHOLE = re.compile(r"[+-]?[0-9]+")
_COMMA = re.compile(r"(?<=[0-9]),(?=[0-9])")


def parse_field(field: Field, text: str) -> Any:
    """Return the value of a text typed into a field, None when it is empty.

    A decimal comma becomes a point; any other mistake is reported when the file is read.
    """
    text = text.replace("\r\n", "\n").strip()
    if not text:
        return None
    kind = field.type.name
    if kind in ("quantity", "number", "loudness", "ends", "filter", "filter_range", "coils", "accuracy", "wire"):
        text = _COMMA.sub(".", text)
    if (field.type.bare_number or kind == "fixed") and _NUMBER.fullmatch(text):
        return int(text) if _WHOLE.fullmatch(text) else float(text)
    if kind == "lines":
        lines = [_COMMA.sub(".", line.strip()) for line in text.split("\n") if line.strip()]
        return lines[0] if len(lines) == 1 else lines
    if kind == "marks":
        return parse_marks(text)
    if kind in ("sides", "names"):
        return [part for part in re.split(r"[,\s]+", text) if part]
    return parse_source(text) if kind == "source" else text


def parse_marks(text: str) -> Any:
    """Parse marks, one name with its condition per line; return the text itself when a line has no name."""
    lines = [line.strip() for line in text.split("\n") if line.strip()]
    if not all(":" in line for line in lines):
        return text
    return {line.partition(":")[0].strip(): _COMMA.sub(".", line.partition(":")[2].strip()) for line in lines}


def parse_source(text: str) -> Any:
    """Parse a source: one, several joined by commas, or one for each side."""
    parts = [part.strip() for part in text.split(",") if part.strip()]
    if parts and all(":" in part for part in parts):
        return {part.partition(":")[0].strip(): part.partition(":")[2].strip() for part in parts}
    return parts if len(parts) > 1 else text
