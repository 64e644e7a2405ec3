"""The shape of the source: sizes, names of modules, docstrings and the public names of each package."""

from __future__ import annotations

import ast
import importlib
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

PACKAGE = Path(__file__).resolve().parents[2] / "src" / "gainwright"
MODULES = sorted(PACKAGE.rglob("*.py"))
ROOMS = sorted(path.parent for path in PACKAGE.rglob("__init__.py") if path.parent != PACKAGE)

LINES_PER_FILE = 400
LINES_PER_FUNCTION = 60
DRAWERS = {"utils", "util", "helpers", "helper", "common", "misc"}
BY_MODULE = {"adapters", "app", "report"}
"""Packages whose modules are imported by name."""

Definition = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def _name(path: Path) -> str:
    return path.relative_to(PACKAGE.parent).as_posix()


def _long_functions(source: str) -> list[str]:
    functions = (
        node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    )
    sizes = ((node.name, (node.end_lineno or node.lineno) - node.lineno + 1) for node in functions)
    return [f"{name}: {size} lines" for name, size in sizes if size >= LINES_PER_FUNCTION]


def _undocumented(body: list[ast.stmt], prefix: str = "") -> Iterator[str]:
    """Yield the public definitions, and those inside public classes, that have no docstring."""
    for node in body:
        if not isinstance(node, Definition) or node.name.startswith("_"):
            continue
        decorators = {ast.unparse(decorator) for decorator in node.decorator_list}
        if ast.get_docstring(node) is None and not decorators & {"overload", "typing.overload"}:
            yield prefix + node.name
        if isinstance(node, ast.ClassDef):
            yield from _undocumented(node.body, f"{prefix}{node.name}.")


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_module_is_short_well_named_and_documented(path: Path) -> None:
    """A module stays short, has a specific name, and it and each public name in it have a docstring."""
    source = path.read_text(encoding="utf-8")
    parsed = ast.parse(source)
    assert len(source.splitlines()) < LINES_PER_FILE
    assert path.stem not in DRAWERS
    assert path.parent.name not in DRAWERS
    assert ast.get_docstring(parsed), "no docstring of the module"
    assert _long_functions(source) == []
    assert list(_undocumented(parsed.body)) == []


@pytest.mark.parametrize("room", ROOMS, ids=_name)
def test_package_has_a_docstring_and_exports_existing_names(room: Path) -> None:
    """A package's `__init__` says its purpose; the names that it exports exist, each listed once.

    A package of which a command needs only one module exports nothing, and neither do subpackages: their modules are
    imported by name, which keeps the start of a command short.
    """
    module = importlib.import_module(".".join(room.relative_to(PACKAGE.parent).parts))
    assert len((module.__doc__ or "").split()) > 3, "the docstring does not say what the package is for"
    names = getattr(module, "__all__", None)
    if names is None:
        assert room.parent != PACKAGE or room.name in BY_MODULE, "no __all__"
        return
    assert len(names) == len(set(names)), "a name twice"
    assert [name for name in names if not hasattr(module, name)] == []


def test_names_of_classes_occur_once() -> None:
    """No two modules define a class of the same name, so that a name in a message or a search means one thing."""
    places: dict[str, list[str]] = {}
    for path in MODULES:
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef):
                places.setdefault(node.name, []).append(_name(path))
    assert len(places) > 300
    assert {name: where for name, where in places.items() if len(where) > 1} == {}


def test_check_finds_what_it_forbids() -> None:
    """A function that is one line too long and a public method without a docstring are both found."""
    long = "def f():\n" + "    x = 1\n" * (LINES_PER_FUNCTION - 1)
    assert _long_functions(long) == ["f: 60 lines"]
    assert _long_functions(long.removesuffix("    x = 1\n")) == []
    bare = ast.parse('class A:\n    """Told."""\n    def b(self): ...\n    def _c(self): ...\n').body
    assert list(_undocumented(bare)) == ["A.b"]
