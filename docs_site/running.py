"""Writes what the commands in the documents print into them: `python3 tasks.py docs --write`."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path

from docs_site.examples import Block, Call, refreshed, waits_for_a_person


def write_examples(docs: Path) -> list[str]:
    """Run every command of every document, write what it prints, and return the documents that changed."""
    changed = []
    for document in sorted(docs.rglob("*.md")):
        before = document.read_text(encoding="utf-8")
        with tempfile.TemporaryDirectory() as folder:
            after = refreshed(before, lambda shown, place=Path(folder): _printed(shown, place))  # type: ignore[misc]
        if after != before:
            document.write_text(after, encoding="utf-8")
            changed.append(document.name)
    return changed


def _printed(shown: Block | Call, folder: Path) -> str | None:
    if isinstance(shown, Block):
        if shown.file:
            (folder / shown.file).write_text(shown.file_content, encoding="utf-8")
        elif ">>>" not in shown.content:
            subprocess.run((sys.executable, "-c", shown.content), cwd=folder, check=False, stdout=subprocess.DEVNULL)  # noqa: S603
        return None
    if not shown.line.startswith("gainwright ") or waits_for_a_person(shown.line):
        return None
    source = Path(__file__).resolve().parent.parent / "src"  # this tree's, whichever is installed
    own = {
        "PYTHONPATH": str(source),
        "PYTHONUTF8": "1",
        "COLUMNS": "120",
        "NO_COLOR": "1",
        "XDG_DATA_HOME": str(folder / "data"),
    }
    command = (sys.executable, "-m", "gainwright", *shlex.split(shown.line)[1:])
    done = subprocess.run(  # noqa: S603  our own documents
        command,
        cwd=folder,
        env={**os.environ, **own},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    if done.returncode != shown.status:
        sys.stderr.write(f"$ {shown.line}\nended with {done.returncode}, not {shown.status}:\n{done.stderr}")
    return done.stdout + done.stderr
