"""The commands of `tasks.py`: each is told, and each has its function."""

from __future__ import annotations

import ast
import importlib
import re
import sys
from typing import TYPE_CHECKING

import tasks

if TYPE_CHECKING:
    from pathlib import Path

    import pytest


def test_each_command_is_told_and_has_its_function() -> None:
    """The help lists exactly the commands; the module of each has the function that is named."""
    assert set(re.findall(r"^    python3 tasks\.py ([\w-]+)", tasks.__doc__ or "", re.MULTILINE)) == set(tasks.COMMANDS)
    for module, function in tasks.COMMANDS.values():
        assert callable(getattr(importlib.import_module(f"tools.{module}"), function))


def test_unknown_command_and_help(capsys: pytest.CaptureFixture[str]) -> None:
    """An unknown command prints the help to standard error with status 2; asked for, it goes to standard output with 0."""
    assert tasks.main(["no-such"]) == 2
    assert tasks.main(["help"]) == 0
    assert capsys.readouterr() == (f"{tasks.__doc__}\n", f"{tasks.__doc__}\n")


def test_tasks_start_with_the_standard_library_alone(tree: Path) -> None:
    """What runs before there is an environment imports nothing but Python's own modules and `tools`."""
    strangers = {}
    for path in (tree / "tasks.py", *(tree / "tools").glob("*.py")):
        imported = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                imported |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                imported.add((node.module or "").split(".")[0])
        strangers[path.name] = imported - sys.stdlib_module_names - {"tools"}
    assert strangers.pop("man_page.py") == {"gainwright", "typer"}  # it runs in the environment
    assert {name: found for name, found in strangers.items() if found} == {}
