"""The result of a scan of music, read back from its JSON."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from gainwright.errors import ReadingError

if TYPE_CHECKING:
    from gainwright.programme.music_result import MusicResult

LARGEST_BYTES = 200_000_000
"""Of a file with a result."""


def read_music(text: str, *, name: str) -> MusicResult:
    """Return the result that `gainwright music --out FILE.json` wrote; `name` is of the file.

    Raises
    ------
    ReadingError : it isn't such a file.
    """
    from gainwright.programme.music_result import MusicResult
    from gainwright.results import from_json

    try:
        result = from_json(MusicResult, json.loads(text))
        result.bands  # noqa: B018  each band has its rows and its recommendation
    except (KeyError, ValueError) as error:
        raise ReadingError(
            f"isn't a result of gainwright music ({type(error).__name__}: {error})",
            code="no_music",
            where=name,
            remedy="make one with gainwright music",
        ) from None
    return result
