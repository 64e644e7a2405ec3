"""Child processes, and the program itself, run nothing that lies in the current folder."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from decoded import as_wav

from gainwright.__main__ import _forget_current_folder
from gainwright.adapters import child_processes
from gainwright.adapters.music_workers import LocalWorkers
from gainwright.app.music.ports import Answer, FileTask

NAMES = ("soundfile", "numpy", "random", "queue", "gainwright", "resource", "json", "multiprocessing", "tempfile")
"""Names that a child imports, of libraries, of Python and our own."""


@pytest.fixture
def trapped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the current folder, in which every name that may be imported is a file that leaves a trace when it is run."""
    for name in NAMES:
        (tmp_path / f"{name}.py").write_text(f"open({str(tmp_path / 'ran')!r}, 'a').write('{name} ')\n")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def trace(folder: Path) -> str:
    """Return which of the traps were run."""
    ran = folder / "ran"
    return ran.read_text() if ran.exists() else ""


@pytest.fixture
def wav(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a sound file."""
    path = tmp_path_factory.mktemp("sound") / "a.wav"
    soundfile.write(path, np.full(480, 0.5), 48_000)
    return path


@pytest.mark.parametrize("path", ["", ".", os.pathsep])
def test_decoding_child_imports_nothing_from_the_current_folder(
    trapped: Path, wav: Path, path: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever PYTHONPATH says of the current folder."""
    monkeypatch.setenv("PYTHONPATH", path + os.pathsep + os.environ.get("PYTHONPATH", ""))
    assert as_wav(wav.read_bytes(), name="a")
    assert trace(trapped) == ""


def imported(task: FileTask) -> Answer:
    """Return from where a reading process would import, and its current folder's content."""
    assert Path(task.path).is_absolute()
    return Answer("", why=repr((sys.path, [str(path) for path in Path().iterdir()])))


def test_music_processes_import_nothing_from_the_current_folder(
    trapped: Path, wav: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also when this program was started with the current folder first, as `python -m` does; they work in an empty folder."""
    monkeypatch.setattr(sys, "path", [*sys.path, str(trapped)])
    (trapped / "here.wav").write_bytes(wav.read_bytes())
    ((task, answer),) = LocalWorkers(1, read=imported).run([FileTask("here.wav", ())], lambda: False)
    assert task.path == "here.wav"
    assert answer is not None
    path, inside = eval(answer.why)  # noqa: S307  made above
    assert str(trapped) not in path
    assert "" not in path
    assert inside == []
    assert trace(trapped) == ""


def test_program_started_as_a_module_imports_nothing_from_the_current_folder(
    trapped: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`python -m gainwright` in a folder of recordings; in the folder of its own source it stays as it was started."""
    own = str(child_processes.OWN)
    monkeypatch.setattr(sys, "path", [str(trapped), own])
    _forget_current_folder()
    assert sys.path == [own]
    monkeypatch.chdir(own)
    _forget_current_folder()
    assert sys.path == [own]
