"""Every example in README.md and docs/ runs: Python blocks are executed, `$ gainwright ...` lines are called.

Within one document examples build on each other, in a folder of their own. A console line that ends in
`# exit status N` must end with N, all others with 0; output shown below a line must be what is printed (`...` stands
for anything, and space is not counted).
"""

from __future__ import annotations

import doctest
import os
import re
import shlex
import subprocess
import sysconfig
from pathlib import Path
from typing import NamedTuple

import pytest
from commands import run

TREE = Path(__file__).resolve().parents[2]
DOCUMENTS = [TREE / "README.md", *sorted((TREE / "docs").rglob("*.md"))]

TRIED_OTHERWISE = ("git clone ", "cd ", "python3 tasks.py ", "python3 -m venv ", ". ", "pip install ")
"""Console lines that set up a machine; the whole test run and the wheel's tests do what they say."""
WAITS_FOR_A_PERSON = ("gainwright serve", "gainwright practise", "gainwright knee")


class Call(NamedTuple):
    """One console line, its expected status, and the output shown below it."""

    line: str
    status: int
    shown: str


def blocks(text: str, language: str) -> list[str]:
    """Return the fenced blocks of one language."""
    return re.findall(rf"^```{language}\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)


def calls(block: str) -> list[Call]:
    """Return the calls of a console block."""
    found = []
    for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
        line, _, shown = part.partition("\n")
        command, _, remark = line.partition(" # ")
        status = re.fullmatch(r"exit status (\d+)", remark.strip())
        found.append(Call(command.strip(), int(status[1]) if status else 0, shown))
    return found


def _run(call: Call, folder: Path, *, installed: bool) -> None:
    """Run a call: the installed program as a reader has it, or the same in this process."""
    program, *arguments = shlex.split(call.line)
    if installed:
        command = (str(Path(sysconfig.get_path("scripts")) / program), *arguments)
        done = subprocess.run(
            command,
            cwd=folder,
            capture_output=True,
            encoding="utf-8",
            check=False,
            stdin=subprocess.DEVNULL,
            env={**os.environ, "XDG_DATA_HOME": str(folder / "data")},
        )
    else:
        done = run(*arguments, folder=folder)
    assert done.returncode == call.status, f"$ {call.line}\n{done.stdout}{done.stderr}"
    if call.shown.strip():
        printed = done.stdout + done.stderr
        options = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
        assert doctest.OutputChecker().check_output(call.shown, printed, options), f"$ {call.line}\n{printed}"


def _execute(block: str, name: str) -> None:
    if ">>>" in block:
        test = doctest.DocTestParser().get_doctest(block, {}, name, name, 0)
        assert doctest.DocTestRunner(optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE).run(test).failed == 0
    else:
        exec(compile(block, name, "exec"), {"__name__": "__example__"})  # noqa: S102  (our own documents)


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.relative_to(TREE).as_posix())
def test_document_examples_run(document: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Typing what a document shows gives what it shows."""
    text = document.read_text(encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    # the first call as a reader has it; that the installed program is the same as `main` needs no more
    installed = document.name == "README.md"
    for name, value in {"PYTHONUTF8": "1", "COLUMNS": "120", "NO_COLOR": "1"}.items():
        monkeypatch.setenv(name, value)
    for block in blocks(text, "console"):
        for call in calls(block):
            if call.line.startswith("gainwright ") and not call.line.startswith(WAITS_FOR_A_PERSON):
                _run(call, tmp_path, installed=installed)
                installed = False
            else:
                assert call.line.startswith(TRIED_OTHERWISE + WAITS_FOR_A_PERSON), f"nothing tries: {call.line}"
    for block in blocks(text, "python"):
        _execute(block, document.name)


def test_relative_links_of_documents_exist() -> None:
    """Every relative link in a document names a file of the tree."""
    for document in DOCUMENTS:
        for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", document.read_text(encoding="utf-8")):
            if ":" not in target:
                assert (document.parent / target).exists(), f"{document.name}: {target}"


def test_examples_are_found_with_status_and_output() -> None:
    """The parser of documents finds blocks, statuses and expected output, and a wrong example fails."""
    text = "x\n```console\n$ gainwright a b   # exit status 2\nno\n$ gainwright c\n```\n```python\n1 / 0\n```\n"
    (block,) = blocks(text, "console")
    assert calls(block) == [Call("gainwright a b", 2, "no\n"), Call("gainwright c", 0, "")]
    with pytest.raises(ZeroDivisionError):
        _execute(blocks(text, "python")[0], "text")
    with pytest.raises(AssertionError):
        _execute(">>> 1 + 1\n3\n", "text")
