"""Values as YAML text: plain where they read back unchanged, otherwise quoted."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

from ruamel.yaml.error import YAMLError

from gainwright.jobfile.yaml_limits import bounded_yaml

if TYPE_CHECKING:
    from collections.abc import Mapping

Value = str | int | float | bool | list[Any] | dict[str, Any]
"""The values of a job file."""

_SAFE = re.compile(r"[A-Za-z][\w./%()-]*(?: [\w./%()+±²-]+)*")
LONGEST_PLAIN = 500
"""Letters of a text that may be written without quotes."""
_WORDS = {"true", "false", "null", "~"}


def inline(value: Value, *, flow: bool) -> str:
    """Return a value on one line; `flow` if inside brackets."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, list):
        return f"[{', '.join(inline(item, flow=True) for item in value)}]"
    if isinstance(value, dict):
        inner = ", ".join(f"{inline(k, flow=True)}: {inline(v, flow=True)}" for k, v in value.items())
        return f"{{{inner}}}"
    return value if _plain_enough(value, flow) else json.dumps(value, ensure_ascii=False)


def block(value: Mapping[str, Value], indent: int, newline: str) -> str:
    """Return a mapping as lines, each beginning with a line break."""
    lines = []
    for key, inner in value.items():
        text = literal(inner, indent + 2, newline) if isinstance(inner, str) else ""
        lines.append(f"{newline}{' ' * indent}{inline(key, flow=False)}: {text or inline(inner, flow=False)}")
    return "".join(lines)


def literal(text: str, indent: int, newline: str) -> str:
    """Return a text of several lines as a literal block, empty when it must be quoted."""
    lines = text.split("\n")
    plain = all(line == line.rstrip() and all(c.isprintable() for c in line) for line in lines)
    if len(lines) < 2 or not plain or not lines[0].strip() or lines[0][0] in " \t" or not lines[-1]:
        return ""
    return "|-" + "".join(newline + (" " * indent + line if line else "") for line in lines)


def _plain_enough(text: str, flow: bool) -> bool:
    """Return whether text reads back unchanged without quotes."""
    if _SAFE.fullmatch(text) and text.lower() not in _WORDS:
        return True
    if (
        not text
        or len(text) > LONGEST_PLAIN
        or "\n" in text
        or not all(c.isprintable() for c in text)
        or " #" in text
        or text[0] == "#"
    ):
        return False
    try:
        read = bounded_yaml().load(f"{{k: {text}}}" if flow else f"k: {text}")
    except (YAMLError, ValueError, TypeError, AttributeError, AssertionError, KeyError):
        return False
    return isinstance(read, dict) and list(read.values()) == [text] and isinstance(read["k"], str)
