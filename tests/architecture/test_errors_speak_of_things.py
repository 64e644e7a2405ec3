"""Messages made below the commands never mention command options: someone in the browser has none."""

from __future__ import annotations

import ast
import re
from pathlib import Path

from gainwright.cli.main import COMMANDS
from gainwright.cli.options import OPTIONS, REMEDIES, with_option
from gainwright.errors import CallError

SOURCE = Path(__file__).resolve().parents[2] / "src" / "gainwright"
OF_THE_COMMAND = {"cli", "web/serving.py", "web/network/lan_listener.py"}
"""What is said in the terminal in which the program is started."""
NO_OPTION_OF_OURS = ("python -m pip", "uv pip install")
OPTION = re.compile(r"(?<![\w-])--[a-z]")


def texts(tree: ast.AST) -> list[tuple[int, str]]:
    """Return the line and text of every string that isn't a docstring."""
    documentation = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    return [
        (node.lineno, node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in documentation
    ]


def test_no_option_is_named_below_the_commands() -> None:
    """No text in a module that the web app also uses names an option."""
    found = []
    for path in sorted(SOURCE.rglob("*.py")):
        name = path.relative_to(SOURCE).as_posix()
        if not any(name == part or name.startswith(f"{part}/") for part in OF_THE_COMMAND):
            found += [
                f"{name}:{line}: {text}"
                for line, text in texts(ast.parse(path.read_text(encoding="utf-8")))
                if OPTION.search(text) and not any(words in text for words in NO_OPTION_OF_OURS)
            ]
    assert found == []


def test_command_replaces_places_by_its_options() -> None:
    """Each place that becomes an option names an existing option of some command; any other place is left as it is."""
    assert with_option(CallError("x", code="x", where="series")).where == "--series"
    assert with_option(CallError("x", code="x", where="cluster at tcp:1")).where == "--scheduler tcp:1"
    assert with_option(CallError("x", code="x", where="car.yaml:3")).where == "car.yaml:3"
    sources = "".join(Path(str(module.__file__)).read_text(encoding="utf-8") for module in COMMANDS)
    known = {f"--{name.replace('_', '-')}" for name in re.findall(r"^    (\w+): ", sources, re.MULTILINE)}
    known |= set(re.findall(r'"(--[a-z-]+)', sources))
    assert {
        name for named in (*OPTIONS.values(), *REMEDIES.values()) for name in re.findall(r"--[a-z-]+", named)
    } <= known
