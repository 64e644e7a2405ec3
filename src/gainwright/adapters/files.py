"""Files of this machine, written completely or not at all."""

from __future__ import annotations

import os
import secrets
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

from gainwright.errors import CallError, ReadingError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@contextmanager
def new_file(path: Path, *, mode: int = 0o666) -> Iterator[Path]:
    """Yield an empty temporary file next to a path, which takes the path's name when the block ends without an error.

    An existing file stays complete until then, and stays if there is an error. The content is flushed to disk first.

    Parameters
    ----------
    mode : file permissions before the umask; 0o600 for private files.

    Raises
    ------
    OSError : it can't be created, flushed or renamed.
    """
    part = path.with_name(f".{path.name[:200]}.{secrets.token_hex(4)}.part")
    try:
        os.close(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode))
        yield part
        with part.open("rb+") as written:  # opened for writing: Windows doesn't flush other handles
            os.fsync(written.fileno())
        part.replace(path)
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def write_file(path: Path, content: bytes | str, *, remedy: str = "choose another place") -> None:
    """Write a file completely or not at all; text as UTF-8.

    Raises
    ------
    CallError : it can't be written there.
    """
    try:
        with new_file(path) as part:
            part.write_bytes(content.encode() if isinstance(content, str) else content)
    except OSError as error:
        raise CallError(
            f"can't be written: {error.strerror}", code="not_written", where=str(path), remedy=remedy
        ) from None


def make_folder(path: Path, *, remedy: str = "choose another folder") -> None:
    """Create a folder and its parents unless they exist.

    Raises
    ------
    CallError : it can't be created.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CallError(
            f"can't be created: {error.strerror}", code="not_written", where=str(path), remedy=remedy
        ) from None


def read_text(path: Path, *, most_bytes: int, remedy: str = "check the name") -> str:
    """Return the text of a file in UTF-8, with or without a byte order mark.

    Raises
    ------
    ReadingError : it isn't a file, can't be read, is larger than `most_bytes`, or isn't UTF-8.
    """
    where = str(path)
    try:
        if path.is_dir():
            raise ReadingError("is a folder", code="not_a_file", where=where, remedy="name a file")
        if path.stat().st_size > most_bytes:
            raise ReadingError(f"is over {most_bytes / 1e6:g} MB", code="too_large", where=where, remedy=remedy)
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise ReadingError(
            f"can't be read: {error.strerror}", code="not_readable", where=where, remedy=remedy
        ) from None
    except UnicodeDecodeError:
        raise ReadingError("isn't UTF-8 text", code="encoding", where=where, remedy="save it in UTF-8") from None
