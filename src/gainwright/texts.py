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

    def __add__(self, other: str) -> str:
        """Return both texts, one after the other; each can still be translated."""
        return say("{a}{b}", a=self, b=other) if other else self

    def __radd__(self, other: str) -> str:
        """Return both texts, one after the other; each can still be translated."""
        return say("{a}{b}", a=other, b=self) if other else self


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


def sentence(text: str) -> str:
    """Return a text that begins with a capital; its template and parts are kept."""
    if not text[:1].islower():
        return text
    if not isinstance(text, Text):
        return text[:1].upper() + text[1:]
    begun = Text(text[:1].upper() + text[1:])
    begun.template, begun.parts = text.template, text.parts
    return begun
