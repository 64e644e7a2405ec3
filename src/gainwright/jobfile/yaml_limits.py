"""Bounds of a YAML file: what would take long is refused before it is parsed, the rest as soon as a bound is met."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from ruamel.yaml import YAML
from ruamel.yaml.composer import Composer
from ruamel.yaml.error import YAMLError
from ruamel.yaml.events import AliasEvent

from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.texts import Text

LARGEST_BYTES = 300_000
MOST_LINES = 10_000
MOST_NODES = 5_000
DEEPEST = 30
MOST_DIGITS = 400
_MOST_SEPARATORS = 20_000
_ENDLESS = re.compile(rf"(?:[\[{{]\s{{0,99}}){{{2 * DEEPEST}}}")
"""Brackets in a row: the parser looks a thousand characters ahead, and its time grows with the square of their depth."""
_LONG_TAG = re.compile(r"![^\s,\[\]{}\"']{200}")
"""The parser's time grows with the square of the length of a tag."""


class UnboundedError(YAMLError):
    """A file that is larger or deeper than any that is meant.

    Attributes
    ----------
    what, rule, remedy : parts of the sentence about it.
    mark : where it was seen, or None.
    """

    def __init__(self, what: Text | str, *, rule: Text | str, remedy: Text | str = "", mark: Any = None) -> None:
        super().__init__(what)
        self.what, self.rule, self.remedy, self.mark = what, rule, remedy, mark


def check_bounds(text: str) -> None:
    """Refuse a text that is too large, in a time that grows with its length alone.

    Raises
    ------
    UnboundedError : too many bytes, lines or separators, brackets without end, or an endless tag.
    """
    if len(text) > LARGEST_BYTES or len(text.encode("utf-8", "surrogatepass")) > LARGEST_BYTES:
        raise UnboundedError(
            say("is over {most} kB", most=LARGEST_BYTES // 1000),
            rule=say("such a file has a few kilobytes"),
            remedy=say("check that it is the right file"),
        )
    lines = text.count("\n") + text.count("\r")
    if lines > MOST_LINES * (2 if "\r\n" in text else 1):
        raise UnboundedError(
            say("it has more than {most} lines", most=MOST_LINES),
            rule=say("such a file has some hundred lines"),
            remedy=say("check that it is the right file"),
        )
    if lines + sum(text.count(mark) for mark in ",[{") > _MOST_SEPARATORS or _LONG_TAG.search(text):
        raise _too_many()
    if _ENDLESS.search(text):
        raise _too_deep()


def _too_many(mark: Any = None) -> UnboundedError:
    return UnboundedError(
        say("it has too many values"),
        rule=say("a file has at most {most_nodes} values", most_nodes=MOST_NODES),
        remedy=say("check that it is the right file"),
        mark=mark,
    )


def _too_deep(mark: Any = None) -> UnboundedError:
    return UnboundedError(
        say("it is nested too deep"),
        rule=say("at most {deepest} levels of nesting are allowed", deepest=DEEPEST),
        remedy=say("look for a bracket too many"),
        mark=mark,
    )


class _LimitedComposer(Composer):
    """Counts values and levels while they are composed; an alias counts as what it stands for."""

    def __init__(self, loader: Any = None) -> None:
        super().__init__(loader)
        self.warn_double_anchors = False
        self._left = MOST_NODES
        self._within = 0
        self._sizes: dict[int, int] = {}

    def compose_node(self, parent: Any, index: Any) -> Any:
        event = self.parser.peek_event()
        if isinstance(event, AliasEvent):
            named = self.anchors.get(event.anchor)
            if named is not None:
                self._take_alias(self._sizes.get(id(named)), event)
            return super().compose_node(parent, index)
        before = self._left
        self._take(1, event)
        self._within += 1
        if self._within > DEEPEST + 1:
            raise _too_deep(event.start_mark)
        node = super().compose_node(parent, index)
        if (
            node.tag == "tag:yaml.org,2002:int"
            and len(node.value) > MOST_DIGITS
            and not (node.value.isascii() and node.value.isdecimal())
        ):
            # Python reads hexadecimal and octal ones of any length, but shows none with over 4,300 decimal digits
            raise UnboundedError(
                say("a number has too many digits"),
                rule=say("at most {most} are allowed here", most=MOST_DIGITS),
                remedy=say("check that it is the right file"),
                mark=event.start_mark,
            )
        self._within -= 1
        self._sizes[id(node)] = before - self._left
        return node

    def _take(self, number: int, event: Any) -> None:
        self._left -= number
        if self._left < 0:
            raise _too_many(event.start_mark)

    def _take_alias(self, size: int | None, event: Any) -> None:
        if size is None:
            raise UnboundedError(
                say("{alias} refers to the value that it is in", alias=f"*{event.anchor}"),
                rule=say("a value can't contain itself"),
                remedy=say("write the values out"),
                mark=event.start_mark,
            )
        if size > self._left:
            raise UnboundedError(
                say("its aliases expand without limit"),
                rule=say("a file has at most {most_nodes} values", most_nodes=MOST_NODES),
                remedy=say("write the values out"),
                mark=event.start_mark,
            )
        self._take(size, event)


def bounded_yaml() -> YAML:
    """Return a reader of YAML 1.2 that keeps comments and raises `UnboundedError` at its bounds; for one text."""
    yaml = YAML(typ="rt", pure=True)
    yaml.version = (1, 2)
    yaml.Composer = _LimitedComposer
    return yaml
