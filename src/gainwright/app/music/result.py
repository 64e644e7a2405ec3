"""What a scan of music gave, read back from its JSON: for papers, charts and pages."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from gainwright.errors import ReadingError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from gainwright.report import MusicFound

_LARGEST_BYTES = 200_000_000


def music_found(content: Mapping[str, Any], *, name: str = "music") -> MusicFound:
    """Return what the object of `gainwright music --json` says.

    Raises
    ------
    ReadingError : it is no such object.
    """
    from gainwright.programme import AllowanceRow, BandAllowance, Choice, Drive, Limits
    from gainwright.report import MusicFound

    try:
        found, now, tones = [], dict[str, float](), dict[str, float]()
        for band, rows in content["allowance"].items():
            c = content["choice"][band]
            choice = Choice(content["recommended_db"][band], c["decided_by"], tuple(c["tracks"]), kept=c["kept"])
            drive = None if c["target_w"] is None else Drive(c["speaker"], c["target_w"], c["rating_w"])
            read = tuple(AllowanceRow(**row) for row in rows)
            found.append(BandAllowance(band, read, choice, c["crest_db"], c["peak_dbfs"], drive))
            now |= {} if c["now_db"] is None else {band: c["now_db"]}
            tones |= {} if c["tone_hz"] is None else {band: c["tone_hz"]}
        points = {
            band: tuple((p["peak_dbfs"], p["time_percent"]) for p in listed)
            for band, listed in content["distribution"].items()
        }
        return MusicFound(
            tuple(found),
            Limits(**content["limits"]),
            len(content["tracks"]),
            content["seconds"],
            now,
            tones,
            points,
            tuple((s["file"], s["why"]) for s in content["skipped"]),
        )
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise ReadingError(
            f"is no result of gainwright music ({type(error).__name__}: {error})",
            code="no_music",
            where=name,
            remedy="make one with gainwright music FOLDER --out music.json",
        ) from None


def read_music(path: Path) -> MusicFound:
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
    return music_found(content, name=str(path))
