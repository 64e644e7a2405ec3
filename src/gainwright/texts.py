"""Sentences for people that can be said again in another language: English as it is read here, its template beside it."""

from __future__ import annotations

from functools import reduce
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence


class Text(str):
    """An English sentence that knows its template and what was put into it; everywhere else it is a plain text.

    Attributes
    ----------
    template : the English sentence with `{name}` for what varies; the key of a catalogue.
    parts : what was put in; a part may be such a text itself.
    """

    __slots__ = ("parts", "template")
    template: str
    parts: dict[str, Any]


def say(template: str, /, **parts: Any) -> str:
    """Return a sentence, a `Text`; numbers are given as they are to be read."""
    found = Text(template.format(**parts) if parts else template)
    found.template, found.parts = template, parts
    return found


def joined(parts: Sequence[str], by: str = "{a}, {b}") -> str:
    """Return several texts as one, two at a time by a template with `a` and `b`; nothing for none."""
    if not parts:
        return ""
    return reduce(lambda a, b: say(by, a=a, b=b), parts)
