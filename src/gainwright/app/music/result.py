"""The result of a scan of music, read back from its JSON."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from gainwright.errors import ReadingError

if TYPE_CHECKING:
    from gainwright.programme.music_result import MusicResult

LARGEST_BYTES = 200_000_000
"""Of a file with a result."""
LONGEST_WHY = 120
"""Characters of a reason."""


def read_music(text: str, *, name: str) -> MusicResult:
    """Return the result that `gainwright music --out FILE.json` wrote; `name` is of the file.

    Raises
    ------
    ReadingError : it isn't such a file.
    """
    from gainwright.programme.music_result import MusicResult
    from gainwright.results import from_json

    try:
        found = json.loads(text)
        json.dumps(found, allow_nan=False, ensure_ascii=False).encode()  # no infinite numbers, no half characters
        result = from_json(MusicResult, found)
        result.bands  # noqa: B018  each band has its rows and its recommendation
    except (KeyError, ValueError, RecursionError) as error:
        raise ReadingError(
            f"isn't a result of gainwright music ({_why(error)})",
            code="no_music",
            where=name,
            remedy="make one with gainwright music",
        ) from None
    return result


def _why(error: Exception) -> str:
    """Return the first of what is wrong, on one line."""
    from pydantic import ValidationError

    if isinstance(error, ValidationError):
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])[:LONGEST_WHY]
        return f"{place}: {first['msg'].lower()}"
    return " ".join(f"{type(error).__name__}: {error}".split())[:LONGEST_WHY]
