"""The span of characters of each key and value of a YAML text, without the comments after it."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ruamel.yaml.error import YAMLError
from ruamel.yaml.nodes import MappingNode, ScalarNode, SequenceNode

from gainwright.errors import JobError
from gainwright.jobfile.yaml_limits import UnboundedError, bounded_yaml, check_bounds
from gainwright.jobfile.yaml_problems import problem_of
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

Key = str | int


@dataclass(frozen=True, slots=True)
class Entry:
    """One key with its value, or one item of a list.

    Attributes
    ----------
    start : where the key begins (the value, for an item).
    value_start, end : the span of the value.
    """

    key: Key
    start: int
    key_end: int
    value_start: int
    end: int
    node: Any


@functools.lru_cache(maxsize=8)
def compose(text: str) -> Any:
    """Return the root node of a text, not to be modified. JobError: not editable YAML."""
    try:
        check_bounds(text)
        root = bounded_yaml().compose(text)
    except (YAMLError, ValueError, RecursionError, AttributeError, TypeError, AssertionError, KeyError) as error:
        raise not_editable(error.what if isinstance(error, UnboundedError) else problem_of(error)) from None
    if not isinstance(root, MappingNode):
        raise not_editable("it has no keys")
    return root


def not_editable(why: str, where: str = "") -> JobError:
    """Return the error for an edit that the layout of the file doesn't allow."""
    return JobError(
        say("this can't be edited here: {why}", why=why),
        code="edit_refused",
        where=where,
        rule=say("an edit changes nothing else in the file"),
        remedy=say("edit the text of the file"),
    )


def is_flow(node: Any) -> bool:
    """Whether a mapping or list is written in brackets."""
    return bool(getattr(node, "flow_style", False))


def end_of(node: Any, text: str) -> int:
    """Return the end of the content of a node, before the comments and empty lines after it."""
    if isinstance(node, ScalarNode) and node.style in ("|", ">"):
        start, end = int(node.start_mark.index), int(node.end_mark.index)
        return start + len(text[start:end].rstrip())
    if isinstance(node, MappingNode | SequenceNode) and not is_flow(node) and node.value:
        last = node.value[-1]
        return end_of(last[1] if isinstance(node, MappingNode) else last, text)
    return int(node.end_mark.index)


def entries(node: Any, text: str) -> list[Entry]:
    """Return the entries of a mapping or list. JobError: something in it is shared with another place."""
    found: list[Entry] = []
    if isinstance(node, MappingNode):
        for key, value in node.value:
            if not isinstance(key, ScalarNode) or str(key.tag).endswith(":merge"):
                raise not_editable("a key in it is not a plain word")
            if value.start_mark.index < key.end_mark.index:
                raise not_editable(f"{key.value} refers to something written elsewhere")
            end = end_of(value, text)
            found.append(Entry(key.value, key.start_mark.index, key.end_mark.index, value.start_mark.index, end, value))
    elif isinstance(node, SequenceNode):
        for i, item in enumerate(node.value):
            start = int(item.start_mark.index)
            if start < node.start_mark.index:
                raise not_editable("an item refers to something written elsewhere")
            found.append(Entry(i, start, start, start, end_of(item, text), item))
    return found


def entry_at(root: Any, path: Sequence[Key], text: str) -> tuple[Entry | None, list[Any]]:
    """Return the entry at a path, None when there is none, and the containers on the way to it, as far as they exist."""
    here, held = root, [root]
    found: Entry | None = None
    for i, part in enumerate(path):
        found = next((e for e in entries(here, text) if e.key == part), None)
        if found is None or i == len(path) - 1:
            break
        here = found.node
        held.append(here)
    return found, held


def line_start(text: str, index: int) -> int:
    """Return where the line of a character begins."""
    return text.rfind("\n", 0, index) + 1


def line_end(text: str, index: int) -> int:
    """Return where the line of a character ends, before its line break."""
    end = text.find("\n", index)
    end = len(text) if end < 0 else end
    return end - 1 if end > index and text[end - 1] == "\r" else end


def comments(text: str) -> list[str]:
    """Return every comment of a text, in order."""
    taken = sorted(_scalars(compose(text), text))
    found = []
    for start, end in _between(taken, len(text)):
        at = start
        while (at := text.find("#", at, end)) >= 0:
            if at == 0 or text[at - 1] in " \t\r\n":
                stop = line_end(text, at)
                found.append(text[at:stop].rstrip())
                at = stop
            else:
                at += 1
    return found


def _between(taken: list[tuple[int, int]], length: int) -> Iterator[tuple[int, int]]:
    """Yield the spans between scalars."""
    at = 0
    for start, end in taken:
        if start > at:
            yield at, start
        at = max(at, end)
    yield at, length


def _scalars(node: Any, text: str, seen: set[int] | None = None) -> Iterator[tuple[int, int]]:
    seen = set() if seen is None else seen
    if id(node) in seen:
        return
    seen.add(id(node))
    if isinstance(node, ScalarNode):
        start = int(node.start_mark.index)
        if node.style in ("|", ">"):
            start = line_end(text, start)
        yield start, max(start, end_of(node, text))
    elif isinstance(node, MappingNode):
        for key, value in node.value:
            yield from _scalars(key, text, seen)
            yield from _scalars(value, text, seen)
    else:
        for item in node.value:
            yield from _scalars(item, text, seen)
