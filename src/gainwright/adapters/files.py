"""Files of this machine: written whole or not at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import CallError

if TYPE_CHECKING:
    from pathlib import Path


def write_file(path: Path, content: bytes | str) -> None:
    """Write a file whole or not at all; text as UTF-8.

    Raises
    ------
    CallError : it can't be written there.
    """
    part = path.with_name(path.name + ".part")
    try:
        part.write_bytes(content.encode() if isinstance(content, str) else content)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise CallError(
            f"can't be written: {error.strerror}", code="not_written", where=str(path), remedy="choose another place"
        ) from None


def make_folder(path: Path) -> None:
    """Make a folder and those above it, unless it is there.

    Raises
    ------
    CallError : it can't be made.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CallError(
            f"can't be made: {error.strerror}", code="not_written", where=str(path), remedy="choose another folder"
        ) from None
