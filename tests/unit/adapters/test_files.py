"""Files that are written whole or not at all."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

import pytest

from gainwright.adapters.files import new_file, write_file
from gainwright.errors import CallError


def test_a_file_is_replaced_whole(tmp_path: Path) -> None:
    """While the new one is written the old one is there, and nothing is left over."""
    path = tmp_path / "a"
    path.write_text("old")
    with new_file(path) as part:
        part.write_text("new")
        assert path.read_text() == "old"
        assert part.parent == tmp_path
    assert path.read_text() == "new"
    assert list(tmp_path.iterdir()) == [path]


def test_an_error_leaves_what_was_there(tmp_path: Path) -> None:
    """The old file stays, the part goes."""
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
    """Also while it is written, and whatever was there before; others have what the umask leaves them."""
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


def test_two_writers_of_one_file_have_each_their_own_part(tmp_path: Path) -> None:
    """The last one to end wins, with its own content whole."""
    path = tmp_path / "a"
    with new_file(path) as first, new_file(path) as second:
        first.write_text("first")
        second.write_text("second")
    assert path.read_text() == "first"
    assert list(tmp_path.iterdir()) == [path]


def test_a_place_that_is_missing_is_said(tmp_path: Path) -> None:
    """Where, and that another is to be chosen."""
    with pytest.raises(CallError, match="can't be written") as refused:
        write_file(tmp_path / "nowhere" / "a", "text")
    assert refused.value.code == "not_written"
    assert refused.value.where == str(tmp_path / "nowhere" / "a")


def test_the_longest_name_can_be_written(tmp_path: Path) -> None:
    """The name of the part is no longer than a file's name may be (255 bytes on most systems)."""
    path = tmp_path / ("a" * 251 + ".wav")
    write_file(path, b"content")
    assert path.read_bytes() == b"content"
