"""Writing a file whole or not at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import CallError

if TYPE_CHECKING:
    from pathlib import Path


def save(path: Path, text: str) -> None:
    """Write a file whole or not at all.

    Raises
    ------
    CallError : it can't be written there.
    """
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(text, encoding="utf-8", newline="\n")
        part.replace(path)
    except OSError as error:
        if part.exists():
            part.unlink()
        raise CallError(
            f"can't be written: {error.strerror}", code="not_written", where=str(path), remedy="choose another place"
        ) from None
