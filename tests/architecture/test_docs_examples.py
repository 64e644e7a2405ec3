"""Every example in README.md and docs/ runs: Python blocks are executed, `$ gainwright ...` lines are called.

Within one document examples build on each other in order, in a folder of their own; a block that begins with the name of a
file (`# car.yaml`) is that file. A console line that ends in `# exit status N` must end with N, all others with 0; output
shown below a line must be what is printed (`...` stands for anything, and space is not counted).
`python3 tasks.py docs --write` writes it.
"""

from __future__ import annotations

import doctest
import os
import re
import shlex
import subprocess
import sysconfig
from pathlib import Path

import pytest
from commands import run
from docs_site.examples import Block, Call, blocks, calls, fits, refreshed, waits_for_a_person

from gainwright import GainwrightError, load_job, make_plan

TREE = Path(__file__).resolve().parents[2]
DOCUMENTS = [TREE / "README.md", *sorted((TREE / "docs").rglob("*.md"))]

TRIED_OTHERWISE = (
    "git clone ",
    "cd ",
    "python3 tasks.py ",
    "python3 -m venv ",
    ". ",
    "pip install ",
    "pipx ",
    "uv ",
    "uvx ",
)
"""Console lines that set up a machine; the whole test run and the wheel's tests do what they say. Those of pipx and uv need both, and
an index: `python3 tasks.py installs` tries them, as a part of each release."""


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
        assert fits(call.shown, printed), f"$ {call.line}\n{printed}"


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
    for block in blocks(text):
        if block.file:
            (tmp_path / block.file).write_text(block.file_content, encoding="utf-8")
        elif block.language == "python":
            _execute(block.content, document.name)
        for call in calls(block.content) if block.language == "console" else ():
            if call.line.startswith("gainwright ") and not waits_for_a_person(call.line):
                _run(call, tmp_path, installed=installed)
                installed = False
            else:
                told = waits_for_a_person(call.line) or call.line.startswith(TRIED_OTHERWISE)
                assert told, f"nothing tries: {call.line}"


def test_jobs_in_documents_load_and_plan(tmp_path: Path) -> None:
    """Each chain that a document shows is a job of which a plan is made, but for those that it calls refused or a blocker."""
    seen = 0
    for document in DOCUMENTS:
        for block in blocks(document.read_text(encoding="utf-8")):
            if block.language == "yaml" and re.search(r"^stages:", block.content, re.MULTILINE):
                begun = block.content if "format:" in block.content else f"format: 1\n{block.content}"
                (tmp_path / "job.yaml").write_text(begun, encoding="utf-8")
                if "# refused" in begun:
                    with pytest.raises(GainwrightError):
                        load_job(tmp_path / "job.yaml")
                    continue
                plan = make_plan(load_job(tmp_path / "job.yaml"))
                blockers = [found for found in plan.findings if found.severity == "blocker"]
                assert plan.steps, document.name
                assert len(blockers) == begun.count("# a blocker"), f"{document.name}: {blockers}"
                seen += 1
    assert seen >= 6


def test_relative_links_of_documents_exist() -> None:
    """Every relative link in a document names a file of the tree."""
    for document in DOCUMENTS:
        for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", document.read_text(encoding="utf-8")):
            if ":" not in target:
                assert (document.parent / target).exists(), f"{document.name}: {target}"


def test_examples_are_found_with_status_and_output() -> None:
    """The parser of documents finds blocks, files, statuses and expected output, and a wrong example fails."""
    text = "x\n```console\n$ gainwright a b   # exit status 2\nno\n$ gainwright c\n```\n```python\n1 / 0\n```\n```csv\n# a.csv\n1,2\n```\n"
    console, python, table = blocks(text)
    assert calls(console.content) == [Call("gainwright a b", 2, "no\n"), Call("gainwright c", 0, "")]
    assert (table.file, table.file_content, console.file) == ("a.csv", "1,2\n", "")
    with pytest.raises(ZeroDivisionError):
        _execute(python.content, "text")
    with pytest.raises(AssertionError):
        _execute(">>> 1 + 1\n3\n", "text")


def test_refreshed_document_shows_what_is_printed_now() -> None:
    """Whole output is replaced, of shortened output the same stretches; what isn't shown or run stays as it is."""
    text = "a\n```console\n$ one\nold\n$ two\n...\nTarget: 5 V\nof it\n...\n$ three\n$ four\nstays\n```\nb\n```yaml\n# f.yaml\n```\n"
    seen: list[Block | Call] = []

    def printed(shown: Block | Call) -> str | None:
        seen.append(shown)
        answers = {"one": "new\nlines\n", "two": "head\n\nTarget: 6 V\nof that\nrest\n", "three": "hidden\n"}
        return answers.get(shown.line) if isinstance(shown, Call) else None

    after = refreshed(text, printed)
    assert after == text.replace("old\n", "new\nlines\n").replace("5 V\nof it", "6 V\nof that")
    assert [shown.line if isinstance(shown, Call) else shown.file for shown in seen] == [
        *["one", "two", "three", "four"],
        "f.yaml",
    ]
