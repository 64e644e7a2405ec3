"""Nothing that Linux alone has is called without a guard, so that Windows and macOS can run the same package.

What a system has of Python's own library is taken from the stubs of typeshed that come with mypy: a name that they define for Linux
and not for Windows or macOS is foreign there. `python3 tasks.py platforms` lets mypy itself check the whole package for both.
"""

from __future__ import annotations

import ast
import functools
import importlib.util
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

PACKAGE = Path(__file__).resolve().parents[2] / "src" / "gainwright"
TEXTS = {path.relative_to(PACKAGE).as_posix(): path.read_text("utf-8") for path in PACKAGE.rglob("*.py")}

GUARDED = {
    "adapters/decoding_child.py": {"resource.RLIMIT_AS", "resource.RLIMIT_CORE", "resource.RLIMIT_CPU", "resource.RLIMIT_FSIZE", "resource.setrlimit"},
    "adapters/music_workers.py": {"signal.SIG_BLOCK", "signal.SIG_SETMASK", "signal.pthread_sigmask"},
    "adapters/own_token.py": {"os.geteuid"},
    "programme/compiled.py": {"os.getuid"},
    "web/network/connection_limits.py": {"resource.RLIMIT_NOFILE", "resource.RLIM_INFINITY", "resource.getrlimit", "resource.setrlimit"},
}  # fmt: skip
"""File -> what it calls that not every system has; each in a function that asks for `sys.platform` first."""
MODES = {"adapters/certificates.py"}
"""Files that set the mode of a file, which means nothing on Windows; there a user's folders are closed to others."""

Stub = list[ast.stmt]


@functools.cache
def _stub(module: str) -> ast.Module | None:
    """Return the stub of a module of the standard library; none where it speaks of no platform."""
    found = importlib.util.find_spec("mypy")
    assert found is not None
    assert found.origin is not None
    place = Path(found.origin).parent / "typeshed" / "stdlib" / module.replace(".", "/")
    for path in (place.with_suffix(".pyi"), place / "__init__.pyi"):
        if path.is_file():
            text = path.read_text(encoding="utf-8")
            return ast.parse(text) if "sys.platform" in text else None
    return None


def _names(body: Stub, platform: str) -> Iterator[str]:
    """Yield the names that a stub defines on a platform, with any version of Python."""
    for node in body:
        match node:
            case ast.If(test=test):
                told = _holds(test, platform)
                if told is not False:
                    yield from _names(node.body, platform)
                if told is not True:
                    yield from _names(node.orelse, platform)
            case ast.FunctionDef() | ast.AsyncFunctionDef() | ast.ClassDef():
                yield node.name
            case ast.Assign():
                yield from (target.id for target in node.targets if isinstance(target, ast.Name))
            case ast.AnnAssign(target=ast.Name(id=name)):
                yield name
            case ast.ImportFrom(module="_socket" | "_signal") if any(alias.name == "*" for alias in node.names):
                pass
            case ast.Import() | ast.ImportFrom():
                yield from (alias.asname or alias.name for alias in node.names)


def _holds(test: ast.expr, platform: str) -> bool | None:
    """Return whether a condition about the platform holds; None where it is about something else."""
    match test:
        case ast.BoolOp(op=op, values=values):
            told = [_holds(value, platform) for value in values]
            if isinstance(op, ast.And):
                return False if False in told else None if None in told else True
            return True if True in told else None if None in told else False
        case ast.Compare(left=ast.Attribute(attr="platform"), ops=[op], comparators=[ast.Constant(value=name)]):
            return (name == platform) == isinstance(op, ast.Eq)
    return None


@functools.cache
def foreign(module: str) -> frozenset[str]:
    """Return what a module of the standard library has on Linux and not on Windows or not on macOS."""
    stub = _stub(module)
    if stub is None:
        return frozenset()
    linux, darwin, windows = (set(_names(stub.body, platform)) for platform in ("linux", "darwin", "win32"))
    return frozenset(linux - (darwin & windows))


def used(parsed: ast.Module) -> dict[str, list[ast.AST]]:
    """Return what a source uses of the standard library that isn't everywhere, with the nodes."""
    modules: dict[str, str] = {}
    found: dict[str, list[ast.AST]] = {}
    for node in ast.walk(parsed):
        if isinstance(node, ast.Import):
            modules |= {alias.asname or alias.name: alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            for alias in node.names:
                if alias.name in foreign(node.module):
                    found.setdefault(f"{node.module}.{alias.name}", []).append(node)
    for node in ast.walk(parsed):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            module = modules.get(node.value.id, "")
            if module.split(".")[0] in sys.stdlib_module_names and node.attr in foreign(module):
                found.setdefault(f"{module}.{node.attr}", []).append(node)
    return found


def _is_guarded(node: ast.AST, parsed: ast.Module) -> bool:
    """Return whether the function around a node asks for `sys.platform` in or before the node's line."""
    line = node.lineno  # type: ignore[attr-defined]
    functions = [
        f for f in ast.walk(parsed) if isinstance(f, ast.FunctionDef) and f.lineno <= line <= (f.end_lineno or 0)
    ]
    return any(
        isinstance(asked, ast.Attribute) and asked.attr == "platform" and asked.lineno <= line
        for function in functions
        for asked in ast.walk(function)
    )


def _imports_foreign(text: str) -> bool:
    """Return whether a source imports a module of which not all is everywhere; most don't, and parsing all takes long."""
    imported = re.findall(r"^\s*(?:import|from) ([\w.]+)", text, re.MULTILINE)
    return any(foreign(name) for name in imported if name.split(".")[0] in sys.stdlib_module_names)


def test_what_linux_alone_has_is_listed_and_guarded() -> None:
    """No use of it but those listed, and each stands behind a question for the platform."""
    parsed = {name: ast.parse(text) for name, text in TEXTS.items() if _imports_foreign(text)}
    assert len(parsed) > 20
    found = {name: used(source) for name, source in parsed.items()}
    assert {name: set(there) for name, there in found.items() if there} == GUARDED
    bare = [
        f"{name}:{node.lineno} {what}"  # type: ignore[attr-defined]
        for name, there in found.items()
        for what, nodes in there.items()
        for node in nodes
        if not _is_guarded(node, parsed[name])
    ]
    assert bare == []


def told_by(parsed: ast.Module) -> list[str]:
    """Return what else in a source is another thing on another system: encodings, links, renaming, modes, places, times."""
    docs = {id(node.value) for node in ast.walk(parsed) if isinstance(node, ast.Expr)}
    found = []
    for node in ast.walk(parsed):
        what = ""
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            what = _odd_text(node.value)
        elif isinstance(node, ast.Call):
            what = _odd_call(node)
        if what:
            found.append(f"{node.lineno}: {what}")  # type: ignore[attr-defined]
    return found


def _odd_text(text: str) -> str:
    if re.match(r"/(tmp|dev|proc|etc|usr|var)\b", text):
        return "a folder of Unix"
    return "a form of time that Windows lacks" if re.search(r"%-[dHIjmMSUwWy]", text) else ""


def _odd_call(call: ast.Call) -> str:
    of_object = isinstance(call.func, ast.Attribute)
    name = str(getattr(call.func, "attr", "") or getattr(call.func, "id", ""))
    told = {keyword.arg for keyword in call.keywords}
    first = [argument.value for argument in call.args if isinstance(argument, ast.Constant)]
    if of_object and (
        name in {"symlink_to", "hardlink_to", "symlink", "link", "chmod"} or (name == "rename" and len(call.args) == 1)
    ):
        return name
    if of_object and name == "open":
        is_text = bool(first) and re.fullmatch(r"[rwax][+]?", str(first[0])) is not None
    elif name == "open":
        is_text = "b" not in str(first[-1] if len(call.args) > 1 and first else "r")
    elif of_object and name == "read_text":
        is_text = not call.args
    else:
        is_text = (of_object and name == "write_text") or (
            name in {"run", "Popen"} and bool(told & {"text", "universal_newlines"})
        )
    return "text without its encoding" if is_text and "encoding" not in told else ""


def test_source_means_the_same_on_every_system() -> None:
    """Files have their encoding, none is a link or renamed over another, and no folder of one system is named."""
    words = re.compile(
        r"(read_text|write_text|open|rename|chmod|link\w*|run|Popen)\(|%-|[\"']/(tmp|dev|proc|etc|usr|var)"
    )
    told = {name: told_by(ast.parse(text)) for name, text in TEXTS.items() if words.search(text)}
    assert len(told) > 50
    assert {name: found for name, found in told.items() if found and name not in MODES} == {}
    assert all(what.endswith("chmod") for name in MODES for what in told[name])


@pytest.mark.parametrize(
    ("source", "what"),
    [
        ("import os\ndef f(): os.fork()", "os.fork"),
        ("import os as o\no.killpg(1, 2)", "os.killpg"),
        ("import signal\nsignal.SIGKILL", "signal.SIGKILL"),
        ("from fcntl import flock", "fcntl.flock"),
        ("import os\nos.sched_getaffinity(0)", "os.sched_getaffinity"),
        ("import socket\nsocket.AF_UNIX", "socket.AF_UNIX"),
        ("import time\ntime.CLOCK_BOOTTIME", "time.CLOCK_BOOTTIME"),
    ],
)
def test_search_finds_what_linux_alone_has(source: str, what: str) -> None:
    """Each is found, and isn't guarded; behind a question for the platform it is."""
    parsed = ast.parse(source)
    ((found, (node,)),) = used(parsed).items()
    assert found == what
    assert not _is_guarded(node, parsed)
    asked = ast.parse("import os\ndef f():\n    if sys.platform == 'win32':\n        return\n    os.fork()")
    assert _is_guarded(used(asked)["os.fork"][0], asked)


@pytest.mark.parametrize(
    "source",
    [
        "open('a')",
        "p.open('w')",
        "p.read_text()",
        "p.write_text(t)",
        "subprocess.run(c, text=True)",
        "p.symlink_to(q)",
        "p.rename(q)",
        "p.chmod(0o600)",
        "x = '/" + "tmp/x'",
        "f'{t:%-d. %B}'",
    ],
)
def test_search_finds_what_means_another_thing(source: str) -> None:
    """Each of them is found once; with its encoding, or as bytes, a file isn't."""
    assert len(told_by(ast.parse(source))) == 1
    fine = "open('a', 'rb'); p.read_text('utf-8'); p.write_text(t, encoding='utf-8'); site.open('id')"
    assert told_by(ast.parse(fine)) == []
