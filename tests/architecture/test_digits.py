"""Only ASCII digits count as digits: Python's own tests for digits, and backslash-d, accept more than `int` and `float` should."""

from __future__ import annotations

import re
from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[2] / "src" / "gainwright"
LOOSE = re.compile(r"\.(?:isdigit|isnumeric|isdecimal)\(|(?<!\\)\\d")
ASCII_FIRST = re.compile(r"\.isascii\(\) and ")


def _loose_lines(path: Path) -> list[str]:
    lines = path.read_text(encoding="utf-8").splitlines()
    return [
        f"{path.relative_to(PACKAGE)}:{number}: {line.strip()}"
        for number, line in enumerate(lines, start=1)
        if LOOSE.search(line) and not ASCII_FIRST.search(line)
    ]


def test_only_ascii_digits_are_digits() -> None:
    """No text is tested for digits without `isascii` before it, and no pattern uses backslash-d instead of `[0-9]`."""
    assert [line for path in sorted(PACKAGE.rglob("*.py")) for line in _loose_lines(path)] == []


def test_a_loose_test_is_found() -> None:
    """The search finds each construct that it forbids."""
    assert LOOSE.search("if text.isdigit():")
    assert LOOSE.search(r're.compile(r"\d+")')
    assert not LOOSE.search(r're.compile(r"[0-9]+")')
