"""What a scan of music gave, read back from its JSON: for papers, charts and pages."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from gainwright.errors import ReadingError

if TYPE_CHECKING:
    from pathlib import Path

    from gainwright.programme.library import MusicResult

_LARGEST_BYTES = 200_000_000


def music_result(content: Any, *, name: str = "music") -> MusicResult:
    """Return what the object of `gainwright music --json` says.

    Raises
    ------
    ReadingError : it is no such object.
    """
    from gainwright.programme.library import MusicResult
    from gainwright.results import from_json

    try:
        found = from_json(MusicResult, content)
        found.bands  # noqa: B018  each band has its rows and its recommendation
    except (KeyError, ValueError) as error:
        raise ReadingError(
            f"is no result of gainwright music ({type(error).__name__}: {error})",
            code="no_music",
            where=name,
            remedy="make one with gainwright music",
        ) from None
    return found


def read_music(path: Path) -> MusicResult:
    """Read what `gainwright music --out FILE.json` wrote.

    Raises
    ------
    ReadingError : it isn't there, can't be read, or is something else.
    """
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise ReadingError("is too large", code="too_large", where=str(path))
        content = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise ReadingError(f"can't be read: {error.strerror}", code="not_readable", where=str(path)) from None
    except ValueError as error:
        raise ReadingError(f"is no JSON ({error})", code="no_music", where=str(path)) from None
    return music_result(content, name=str(path))
