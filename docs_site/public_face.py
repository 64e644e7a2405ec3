"""The public functions and results as Markdown, from their docstrings; the code is read, not imported."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import NamedTuple

from docs_site.problems import SiteError

HEADINGS = ("Parameters", "Returns", "Raises", "Attributes")


class Found(NamedTuple):
    """A definition, and the module that holds it."""

    module: str
    node: ast.FunctionDef | ast.ClassDef


def public_face(source: Path) -> str:
    """Return the text about each public name: functions first, in the order of the package's docstring.

    Raises
    ------
    SiteError : a public name that is neither a function nor a class, or has no docstring.
    """
    package = source / "gainwright" / "__init__.py"
    names = [name for name in _names(package) if not name.startswith("_")]
    found = {name: _find(source, "gainwright", name) for name in names}
    told = ast.get_docstring(ast.parse(package.read_text(encoding="utf-8"))) or ""
    functions = sorted((n for n in names if isinstance(found[n].node, ast.FunctionDef)), key=told.find)
    classes = [name for name in names if name not in functions]
    parts = ["## Functions", *(_function(found[name]) for name in functions)]
    parts += ["## Results and errors", *(_class(found[name]) for name in classes)]
    return "\n\n".join(parts)


def _names(module: Path) -> list[str]:
    for node in ast.parse(module.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
            return [str(name) for name in ast.literal_eval(node.value)]
    raise SiteError(f"{module}: no __all__")


def _find(source: Path, module: str, name: str) -> Found:
    """Follow a name from a package's `__init__` to its definition."""
    path = source.joinpath(*module.split("."))
    file = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and node.name == name:
            return Found(module, node)
        if isinstance(node, ast.ImportFrom) and node.module and name in [alias.name for alias in node.names]:
            return _find(source, node.module, name)
    raise SiteError(f"{module}: no definition of {name}")


def _docstring(found: Found) -> str:
    told = ast.get_docstring(found.node)
    if not told:
        raise SiteError(f"{found.module}.{found.node.name}: no docstring")
    return _in_markdown(told)


def _function(found: Found) -> str:
    node = found.node
    assert isinstance(node, ast.FunctionDef)  # noqa: S101
    signature = _signature(node)
    return f"### {node.name}\n\n```python\n{signature}\n```\n\n{_docstring(found)}"


def _signature(node: ast.FunctionDef) -> str:
    result = f" -> {ast.unparse(node.returns)}" if node.returns else ""
    line = f"{node.name}({ast.unparse(node.args)}){result}"
    if len(line) <= 88:
        return line
    arguments = ast.unparse(node.args)
    parts = re.split(r", (?=\*$|\*,|\w+: )", arguments)
    return f"{node.name}(\n" + "".join(f"    {part},\n" for part in parts) + f"){result}"


def _class(found: Found) -> str:
    node = found.node
    rows = []
    for field, after in zip(node.body, [*node.body[1:], None], strict=True):
        if isinstance(field, ast.AnnAssign) and not ast.unparse(field.target).startswith("_"):
            said = after.value.value if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant) else ""
            kind = ast.unparse(field.annotation).replace("|", "\\|")
            rows.append(f"| `{ast.unparse(field.target)}` | `{kind}` | {' '.join(str(said).split())} |")
    table = "\n".join(["| field | type | what it is |", "| --- | --- | --- |", *rows]) if rows else ""
    return f"### {node.name}\n\n{_docstring(found)}\n\nFrom `{found.module}`.\n\n{table}"


def _in_markdown(docstring: str) -> str:
    """Return a docstring with its sections as lists: each entry begins a line with `name : text`."""
    out: list[str] = []
    section = ""
    for line, below in zip(docstring.splitlines(), [*docstring.splitlines()[1:], ""], strict=True):
        if line in HEADINGS and set(below) == {"-"}:
            section = line
            out += ["", f"**{section}**", ""]
        elif set(line) == {"-"}:
            continue
        elif section and (entry := re.match(r"([\w, *]+) : (.*)", line)):
            names = ", ".join(f"`{name}`" for name in entry[1].split(", "))
            out.append(f"- {names}: {entry[2]}")
        else:
            out.append(f"  {line.strip()}" if section and line.strip() else line)
    return "\n".join(out)
