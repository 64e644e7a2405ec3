"""Translatable sentences: English text that keeps its template and parts."""

from __future__ import annotations

from functools import reduce
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence


class Text(str):
    """An English sentence with its template and parts; otherwise it is a plain string.

    Attributes
    ----------
    template : the English sentence with `{name}` placeholders; the key in a catalogue.
    parts : the values of the placeholders; a part may itself be such a text.
    """

    __slots__ = ("parts", "template")
    template: str
    parts: dict[str, Any]


def say(template: str, /, **parts: Any) -> str:
    """Return a translatable sentence; numbers in `parts` must already be formatted."""
    text = Text(template.format(**parts) if parts else template)
    text.template, text.parts = template, parts
    return text


def joined(parts: Sequence[str], by: str = "{a}, {b}") -> str:
    """Join texts from left to right with a template of `a` and `b`; an empty text for none."""
    if not parts:
        return ""
    return reduce(lambda a, b: say(by, a=a, b=b), parts)
