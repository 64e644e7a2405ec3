"""Files that are written completely or not at all."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

import pytest

from gainwright.adapters.files import new_file, write_file
from gainwright.errors import CallError


def test_file_is_replaced_as_a_whole(tmp_path: Path) -> None:
    """While the new one is written the old one is there; no temporary file is left."""
    path = tmp_path / "a"
    path.write_text("old")
    with new_file(path) as part:
        part.write_text("new")
        assert path.read_text() == "old"
        assert part.parent == tmp_path
    assert path.read_text() == "new"
    assert list(tmp_path.iterdir()) == [path]


def test_error_leaves_the_old_file(tmp_path: Path) -> None:
    """The old file stays, the temporary one is removed."""
    path = tmp_path / "a"
    path.write_text("old")
    with contextlib.suppress(ZeroDivisionError), new_file(path) as part:
        part.write_text("half")
        raise ZeroDivisionError
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such modes")
@pytest.mark.parametrize("mode", [0o600, 0o666])
def test_a_private_file_is_private_from_its_first_byte(tmp_path: Path, mode: int) -> None:
    """Also while it is written, and if the old file wasn't private; other files follow the umask."""
    path = tmp_path / "a"
    path.write_text("readable by all")
    path.chmod(0o644)
    before = os.umask(0o022)
    try:
        with new_file(path, mode=mode) as part:
            assert part.stat().st_mode & 0o777 == mode & ~0o022
            part.write_text("secret")
    finally:
        os.umask(before)
    assert path.stat().st_mode & 0o777 == mode & ~0o022


def test_two_writers_use_separate_temporary_files(tmp_path: Path) -> None:
    """The last one to finish wins, with its own complete content."""
    path = tmp_path / "a"
    with new_file(path) as first, new_file(path) as second:
        first.write_text("first")
        second.write_text("second")
    assert path.read_text() == "first"
    assert list(tmp_path.iterdir()) == [path]


def test_missing_folder_is_named(tmp_path: Path) -> None:
    """With the advice to choose another."""
    with pytest.raises(CallError, match="can't be written") as refused:
        write_file(tmp_path / "nowhere" / "a", "text")
    assert refused.value.code == "not_written"
    assert refused.value.where == str(tmp_path / "nowhere" / "a")


def test_the_longest_name_can_be_written(tmp_path: Path) -> None:
    """The temporary name is no longer than a file name may be (255 bytes on most systems)."""
    path = tmp_path / ("a" * 251 + ".wav")
    write_file(path, b"content")
    assert path.read_bytes() == b"content"
