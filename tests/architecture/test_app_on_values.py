"""Functions in `app` work on values and ports: files and the environment belong to the adapters."""

from __future__ import annotations

import ast
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

OUTSIDE = frozenset({"os", "pathlib", "tempfile", "shutil", "glob", "subprocess", "socket", "sys"})
"""Modules of the standard library that reach the machine."""
FILE_METHODS = frozenset({"read_text", "read_bytes", "write_text", "write_bytes"})
"""Methods that only a path has."""
FILE_FUNCTIONS = frozenset({"read_job", "read_evidence", "read_case", "read_recording"})
"""Our own functions that read a file by its path."""


def reaches_out(source: str) -> Iterator[tuple[int, str]]:
    """Yield line and name of whatever a module imports or calls to reach files or the environment."""
    tree = ast.parse(source)
    only_types = {id(n) for i in ast.walk(tree) if _is_type_checking(i) for n in ast.walk(i)}
    for node in ast.walk(tree):
        if id(node) in only_types:
            continue
        if isinstance(node, ast.Import):
            yield from ((node.lineno, a.name) for a in node.names if a.name.split(".")[0] in OUTSIDE)
        elif isinstance(node, ast.ImportFrom):
            if (node.module or "").split(".")[0] in OUTSIDE:
                yield node.lineno, str(node.module)
            yield from ((node.lineno, a.name) for a in node.names if a.name in FILE_FUNCTIONS)
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "open":
            yield node.lineno, "open()"
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in FILE_METHODS:
            yield node.lineno, f"{node.func.attr}()"


def _is_type_checking(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"


def test_app_uses_no_files_and_no_environment(tree: Path) -> None:
    """In no module of `app`."""
    modules = sorted((tree / "src" / "gainwright" / "app").rglob("*.py"))
    assert len(modules) > 20
    found = [
        f"{path.relative_to(tree)}:{line}: {what}"
        for path in modules
        for line, what in reaches_out(path.read_text(encoding="utf-8"))
    ]
    assert found == []


@pytest.mark.parametrize(
    "source",
    [
        "import os",
        "import os.path as p",
        "from pathlib import Path",
        "def f():\n    from shutil import copy",
        "import tempfile",
        "open('x')",
        "def f(path):\n    return path.read_text()",
        "from gainwright.jobfile import read_job",
    ],
)
def test_each_forbidden_access_is_found(source: str) -> None:
    """Each way to reach a file or the environment is found by the check."""
    assert list(reaches_out(source))


def test_imports_for_type_checking_are_allowed() -> None:
    """Imports that only a type checker reads are no access."""
    assert not list(reaches_out("if TYPE_CHECKING:\n    from pathlib import Path\nimport io\n"))
