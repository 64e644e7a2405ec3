"""A job file being edited: its text and its data, changed together and compared at the end."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any, cast

from ruamel.yaml.nodes import MappingNode, ScalarNode, SequenceNode

from gainwright.jobfile.editing.scalars import Value, block, inline, literal
from gainwright.jobfile.editing.spans import (
    Entry,
    Key,
    comments,
    compose,
    end_of,
    entries,
    entry_at,
    is_flow,
    line_end,
    line_start,
    not_editable,
)
from gainwright.jobfile.reading import JobFile, read_job_text
from gainwright.jobfile.yaml_reading import document as document_of
from gainwright.jobfile.yaml_reading import plain

if TYPE_CHECKING:
    from collections.abc import Sequence

Path = tuple[Key, ...]
_BLOCK_FROM = 90
"""A mapping that would make a longer line is written on several lines."""


class TextDraft:
    """A file's text, and the plain data that it must contain after each change; it need not be a job, or not yet.

    Raises
    ------
    JobError : the text is not YAML, or not one mapping.
    """

    def __init__(self, text: str, name: str = "job", *, document: Any = None) -> None:
        self.name = name
        self.text = text
        self.plain: dict[str, Any] = plain(document_of(text, name) if document is None else document, name)
        self._newline = "\r\n" if "\r\n" in text else "\n"

    def at(self, path: Path) -> Any:
        """Return the value at a path, None when there is none."""
        here: Any = self.plain
        for part in path:
            if not _holds(here, part):
                return None
            here = here[part]
        return here

    def set(self, path: Path, value: Value, *, after: str | None = None) -> None:
        """Set the value at a path; missing mappings on the way are created.

        `after` names the key after which a new one is placed; at the end when there is no such key.
        """
        old = self.at(path)
        if same(old, value):
            return
        if old and value and type(old) is type(value) and self._in_parts(path, old, value):
            return
        holder: Any = self.plain
        for part in path[:-1]:
            holder = holder.setdefault(part, {}) if isinstance(holder, dict) else holder[part]
        kept = Counter(comments(self.text))
        self._set_text(path, value, after)
        if isinstance(holder, list) and path[-1] == len(holder):
            holder.append(value)
        elif isinstance(holder, dict) and path[-1] not in holder and after in holder:
            _insert_after(holder, str(after), str(path[-1]), value)
        else:
            holder[path[-1]] = value
        self._restore_comments(kept, path)

    def _in_parts(self, path: Path, old: Any, value: Any) -> bool:
        """Change a mapping key by key, a list with lines of its own item by item; return whether that was done."""
        if isinstance(old, dict):
            for key in [key for key in old if key not in value]:
                self.unset((*path, key))
            for key, item in value.items():
                self.set((*path, key), item)
            return True
        if isinstance(old, list) and self._by_item(path):
            for i in range(len(old) - 1, len(value) - 1, -1):
                self.unset((*path, i))
            for i, item in enumerate(value):
                self.set((*path, i), item)
            return True
        return False

    def unset(self, path: Path) -> None:
        """Remove a key or an item; comments on its lines are removed with it."""
        holder: Any = self.at(path[:-1])
        if not _holds(holder, path[-1]):
            return
        self._unset_text(path, alone=len(holder) == 1)
        del holder[path[-1]]

    def rename(self, path: Path, new: str) -> None:
        """Rename a key in place."""
        holder = self.at(path[:-1])
        entry, _ = entry_at(compose(self.text), path, self.text)
        if entry is None or not isinstance(holder, dict):
            raise not_editable(f"{path[-1]} isn't written there")
        key, rest = inline(new, flow=True), self.text[entry.key_end :]
        beside = len(rest[1:]) - len(rest[1:].lstrip(" "))
        if rest.startswith(":") and beside > 1 and rest[1 + beside] not in "#\r\n":
            wanted = max(1, beside - len(key) + entry.key_end - entry.start)
            rest = ":" + " " * wanted + rest[1 + beside :]
        self.text = self.text[: entry.start] + key + rest
        items = [(new if key == path[-1] else key, item) for key, item in holder.items()]
        holder.clear()
        holder.update(items)

    def reorder(self, path: Path, order: Sequence[str]) -> None:
        """Put the entries of a mapping into another order, each with the comments directly above it."""
        holder = self.at(path)
        node = self._node(path)
        found = {str(e.key): e for e in entries(node, self.text)}
        flow = is_flow(node)
        slots = [(e.start, e.end) if flow else self._unit(e) for e in found.values()]
        pieces = dict(zip(found, (self.text[a:b] for a, b in slots), strict=True))
        text = self.text
        for (start, end), key in reversed(list(zip(slots, order, strict=True))):
            text = text[:start] + pieces[key] + text[end:]
        self.text = text
        items = [(key, holder[key]) for key in order]
        holder.clear()
        holder.update(items)

    def checked(self) -> str:
        """Return the text after checking that it contains the expected data. JobError: it can't be written so."""
        if not same(plain(document_of(self.text, self.name), self.name), self.plain):
            raise not_editable("it is written in an unusual way")
        return self.text

    def _node(self, path: Path) -> Any:
        root = compose(self.text)
        if not path:
            return root
        entry, _ = entry_at(root, path, self.text)
        if entry is None:
            raise not_editable(f"{path[-1]} isn't written there")
        return entry.node

    def _by_item(self, path: Path) -> bool:
        """Whether a list is changed item by item: one a line, or with comments inside."""
        entry, _ = entry_at(compose(self.text), path, self.text)
        return entry is not None and (not is_flow(entry.node) or "#" in self.text[entry.value_start : entry.end])

    def _unit(self, entry: Entry) -> tuple[int, int]:
        """Return an entry of a block with the comment lines directly above it and the rest of its line."""
        start = line_start(self.text, entry.start)
        indent = self.text[start : entry.start]
        while start > 0:
            above = line_start(self.text, start - 1)
            line = self.text[above : start - 1]
            if not (line.startswith(indent) and line[len(indent) :].startswith("#")):
                break
            start = above
        return start, line_end(self.text, entry.end)

    def _set_text(self, path: Path, value: Value, after: str | None) -> None:
        entry, held = entry_at(compose(self.text), path, self.text)
        flow = any(is_flow(node) for node in held)
        if entry is not None:
            self._replace(entry, value, flow=flow)
            return
        missing = path[len(held) - 1 :]
        new: Value = value
        for part in reversed(missing[1:]):
            new = {str(part): new}
        parent = held[-1]
        if isinstance(parent, ScalarNode):
            raise not_editable(f"{path[len(held) - 2]} is one value")
        if isinstance(parent, SequenceNode):
            self._append(parent, new, flow=flow)
        else:
            self._insert(parent, str(missing[0]), new, after, flow=flow)

    def _replace(self, entry: Entry, value: Value, *, flow: bool) -> None:
        old = self.text[entry.value_start : entry.end]
        nested = isinstance(entry.node, ScalarNode) and entry.node.style in ("|", ">")
        is_block = isinstance(entry.node, MappingNode | SequenceNode) and not is_flow(entry.node)
        start = entry.value_start
        text = inline(value, flow=flow)
        if is_block or nested or not old:
            start = self.text.index(":", entry.key_end) + 1 if isinstance(entry.key, str) else start
            text = " " + text
        if isinstance(value, str) and not flow:
            indent = entry.start - line_start(self.text, entry.start) + 2
            text = (" " * text.startswith(" ") + found) if (found := literal(value, indent, self._newline)) else text
        rest = self.text[entry.end :]
        beside = len(rest) - len(rest.lstrip(" "))
        if beside and rest[beside : beside + 1] == "#" and "\n" not in text:
            wanted = beside - len(text) + (entry.end - start)
            rest = " " * max(wanted, min(beside, 2)) + rest[beside:]
        self.text = self.text[:start] + text + rest

    def _append(self, node: Any, value: Value, *, flow: bool) -> None:
        held = entries(node, self.text)
        if not held:
            end = int(node.end_mark.index) - 1
            self.text = self.text[:end] + inline(value, flow=True) + self.text[end:]
        elif flow:
            self.text = self.text[: held[-1].end] + f", {inline(value, flow=True)}" + self.text[held[-1].end :]
        else:
            last = held[-1]
            dash = self.text[line_start(self.text, last.start) : last.start]
            end = line_end(self.text, last.end)
            self.text = self.text[:end] + self._newline + dash + inline(value, flow=False) + self.text[end:]

    def _insert(self, node: Any, key: str, value: Value, after: str | None, *, flow: bool) -> None:
        held = entries(node, self.text)
        name = inline(key, flow=True)
        behind = next((e for e in held if e.key == after), held[-1] if held else None)
        if behind is None:
            if not is_flow(node):
                raise not_editable("its parent is empty")
            end = int(node.end_mark.index) - 1
            self.text = self.text[:end] + f"{name}: {inline(value, flow=True)}" + self.text[end:]
            return
        if flow:
            self.text = self.text[: behind.end] + f", {name}: {inline(value, flow=True)}" + self.text[behind.end :]
            return
        indent = held[0].start - line_start(self.text, held[0].start)
        text = inline(value, flow=False)
        long = isinstance(value, dict) and value and (len(text) + indent > _BLOCK_FROM or _holds_things(value))
        lines = block(cast("dict[str, Value]", value), indent + 2, self._newline) if long else ""
        text = lines or " " + (
            literal(value, indent + 2, self._newline) if isinstance(value, str) and "\n" in value else ""
        )
        if not text.strip():
            text = " " + inline(value, flow=False)
        end = line_end(self.text, behind.end)
        self.text = self.text[:end] + f"{self._newline}{' ' * indent}{name}:{text}" + self.text[end:]

    def _unset_text(self, path: Path, *, alone: bool) -> None:
        entry, held = entry_at(compose(self.text), path, self.text)
        if entry is None:
            raise not_editable(f"{path[-1]} isn't written there")
        node = held[-1]
        text = self.text
        if is_flow(node):
            self.text = _cut_from_brackets(text, entry, node)
        elif alone:
            if len(path) < 2:
                raise not_editable("it is the only key")
            parent, _ = entry_at(compose(text), path[:-1], text)
            assert parent is not None  # noqa: S101  it holds the entry
            start = text.index(":", parent.key_end) + 1
            empty = " {}" if isinstance(node, MappingNode) else " []"
            beside = text[start : line_end(text, start)] if line_end(text, start) < entry.start else ""
            self.text = text[:start] + empty + beside.rstrip() + text[end_of(node, text) :]
        else:
            start, end = line_start(text, entry.start), line_end(text, entry.end)
            after = end + (2 if text[end : end + 2] == "\r\n" else 1)
            if after > len(text) and start > 0:
                start -= 2 if text[start - 2 : start] == "\r\n" else 1
            self.text = text[:start] + text[after:]

    def _restore_comments(self, kept: Counter[str], path: Path) -> None:
        """Write comments that a change of value has dropped on separate lines above it."""
        lost = list((kept - Counter(comments(self.text))).elements())
        if not lost:
            return
        entry, held = entry_at(compose(self.text), path, self.text)
        while entry is not None and len(path) > 1 and any(is_flow(node) for node in held):
            path = path[:-1]
            entry, held = entry_at(compose(self.text), path, self.text)
        if entry is None:
            raise not_editable("there is a comment in the middle of it")
        start = line_start(self.text, entry.start)
        indent = " " * (entry.start - start)
        self.text = (
            self.text[:start] + "".join(f"{indent}{comment}{self._newline}" for comment in lost) + self.text[start:]
        )


class Draft(TextDraft):
    """A job file being edited.

    Parameters
    ----------
    read : the text already read, if available.

    Raises
    ------
    JobError : the text is not a job.
    """

    def __init__(self, text: str, name: str = "job", *, read: JobFile | None = None) -> None:
        self.before: JobFile = read or read_job_text(text, name)
        super().__init__(text, name, document=self.before.document)

    def finished(self) -> str:
        """Return the text after checking that it contains the expected data and is a job.

        Raises
        ------
        JobError : the result is not a job, or can't be written without changing something else.
        """
        read = read_job_text(self.text, self.name)
        if not same(plain(read.document, self.name), self.plain):
            raise not_editable("it is written in an unusual way")
        return self.text


def _cut_from_brackets(text: str, entry: Entry, node: Any) -> str:
    """Return a text without an entry of a bracketed mapping or list."""
    held = entries(node, text)
    i = next(i for i, e in enumerate(held) if e.key == entry.key)
    start, end = entry.start, entry.end
    rest = text[end : int(node.end_mark.index)]
    comma = len(rest) - len(rest.lstrip(" "))
    if rest[comma : comma + 1] == ",":
        end += comma + 1
        end += len(text[end:]) - len(text[end:].lstrip(" "))
        if text[end : end + 1] in ("\r", "\n", "#") and text[line_start(text, start) : start].strip():
            start -= len(text[:start]) - len(text[:start].rstrip(" "))
    elif i > 0 and "#" not in text[held[i - 1].end : start]:
        start = held[i - 1].end
    return text[:start] + text[end:]


def _insert_after(holder: dict[str, Any], after: str, key: str, value: Any) -> None:
    items: list[tuple[str, Any]] = []
    for name, item in holder.items():
        items.append((name, item))
        if name == after:
            items.append((key, value))
    holder.clear()
    holder.update(items)


def _holds_things(value: dict[str, Any]) -> bool:
    """Return whether a mapping is a stage or an instrument, or holds some: each has lines of its own."""
    return "kind" in value or any(isinstance(held, dict) and "kind" in held for held in value.values())


def _holds(holder: Any, part: Key) -> bool:
    """Return whether a mapping or list has that key or item."""
    if isinstance(holder, list):
        return isinstance(part, int) and 0 <= part < len(holder)
    return isinstance(holder, dict) and part in holder


def same(a: Any, b: Any) -> bool:
    """Return whether two documents are equal: the same types of values, and keys in the same order."""
    if isinstance(a, dict) and isinstance(b, dict):
        return list(a) == list(b) and all(same(a[key], b[key]) for key in a)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(same(x, y) for x, y in zip(a, b, strict=True))
    return type(a) is type(b) and bool(a == b)
